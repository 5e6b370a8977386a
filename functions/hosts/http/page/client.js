// What the page asks of the server. The token is kept for this tab alone, and sent in a header only.

export const VERSION = "{{version}}";

const TOKEN = "dampcell-token";

/** An answer that is no answer: its message says what to do. */
export class Refused extends Error {
  constructor(code, message, argument) {
    super(message);
    this.code = code;
    this.argument = argument;
  }
}

const AWAY = "The calculation server does not answer. Start it with “dampcell serve”, and open the link that it prints.";

async function ask(path, options = {}) {
  const token = sessionStorage.getItem(TOKEN);
  const headers = { ...(options.body ? { "Content-Type": "application/json" } : {}) };
  if (token) headers.Authorization = `Bearer ${token}`;
  let response;
  try {
    response = await fetch(path, { ...options, headers, cache: "no-store", credentials: "omit" });
  } catch (error) {
    if (error.name === "AbortError") throw error;
    throw new Refused("away", AWAY);
  }
  let read;
  try {
    read = await response.json();
  } catch (error) {
    if (error.name === "AbortError") throw error;
    throw new Refused("away", AWAY);
  }
  if (!response.ok) {
    const told = read.error ?? {};
    throw new Refused(told.code ?? "fault", told.message ?? AWAY, told.argument);
  }
  return read;
}

function post(path, content, signal) {
  return ask(path, { method: "POST", body: JSON.stringify({ version: VERSION, ...content }), signal });
}

/** Trade the key in the address, once, for the token; the address loses the key first. */
export async function takeKey() {
  const found = /^#key=([\w-]+)$/.exec(location.hash);
  if (!found) return;
  history.replaceState(null, "", "#/");
  const { token } = await post("v1/session", { key: found[1] });
  sessionStorage.setItem(TOKEN, token);
}

export const health = () => ask("v1/health");
export const functions = async () => (await ask("v1/functions")).functions;
export const guides = async () => (await ask("v1/guides")).guides;

/** Make one call: { value | error, notes }. */
export async function call(name, values, signal) {
  const answer = await post("v1/calls", { calls: [{ function: name, arguments: values }] }, signal);
  return answer.results[0];
}
