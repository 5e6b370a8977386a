// Run the real functions.js as Excel would, and tell what each call gave.
//
// Input on standard input, as JSON: { script, metadata, origin, token, groups, longest, fakes }.
// groups: lists of calls made at the same moment, [name, arguments]; one group after the other.
// fakes: answers in place of the first requests: "refuse", "hang", or { status, text }.
// Output: { results, requests }: per group and call { value } or { code, message }; per request its number of calls.

import { readFileSync } from "node:fs";
import vm from "node:vm";

const given = JSON.parse(readFileSync(0, "utf8"));
const parameters = new Map(JSON.parse(readFileSync(given.metadata, "utf8")).functions.map((each) => [each.id, each.parameters]));
const associated = new Map();
const requests = [];
const fakes = [...(given.fakes ?? [])];

class CellError {
  constructor(code, message) {
    this.code = code;
    this.message = message;
  }
}

const CustomFunctions = {
  Error: CellError,
  ErrorCode: {
    invalidValue: "#VALUE!", notAvailable: "#N/A", divisionByZero: "#DIV/0!", invalidNumber: "#NUM!",
    nullReference: "#NULL!", invalidName: "#NAME?", invalidReference: "#REF!",
  },
  associate: (id, body) => associated.set(id, body),
};

async function fetchOrFake(url, options) {
  requests.push({ calls: JSON.parse(options.body).calls.length, characters: options.body.length });
  const fake = fakes.shift();
  if (fake === undefined) return fetch(url, options);
  if (fake === "refuse") throw new TypeError("fetch failed");
  if (fake === "hang") {
    return new Promise((_, reject) => options.signal.addEventListener("abort", () => reject(new Error("aborted"))));
  }
  return new Response(fake.text, { status: fake.status });
}

const context = vm.createContext({
  CustomFunctions, AbortController, location: { origin: given.origin }, fetch: fetchOrFake, clearTimeout,
  localStorage: { getItem: (name) => (name === "dampcell-token" ? given.token : null) },
  setTimeout: (work, wait) => setTimeout(work, Math.min(wait, given.longest ?? Infinity)),
});
vm.runInContext(readFileSync(given.script, "utf8"), context, { filename: given.script });

// Excel hands a missing argument over as null, gathers repeated ones, and adds an object about the call.
function handedOver(name, values) {
  const declared = parameters.get(name);
  const rest = declared.at(-1)?.repeating ? declared.length - 1 : declared.length;
  const plain = Array.from({ length: rest }, (_, index) => values[index] ?? null);
  const repeated = rest < declared.length ? [values.slice(rest)] : [];
  return [...plain, ...repeated, { address: "Sheet1!A1", functionName: name }];
}

const shown = (cell) => (cell instanceof CellError ? { code: cell.code, message: cell.message ?? null } : cell);

const results = [];
for (const group of given.groups) {
  const settled = await Promise.allSettled(group.map(([name, values]) => associated.get(name)(...handedOver(name, values))));
  results.push(settled.map(({ status, value, reason }) => {
    if (status === "fulfilled") return { value: value.map((row) => row.map(shown)) };
    return reason instanceof CellError ? shown(reason) : { code: "not a CustomFunctions.Error", message: String(reason) };
  }));
}
process.stdout.write(JSON.stringify({ results, requests, associated: [...associated.keys()] }));
