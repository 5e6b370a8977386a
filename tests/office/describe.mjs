// Check functions.json with Microsoft's own tools, without the network.
//
// Argument: path of functions.json. Output, as JSON: { errors, functions, limits }.
// errors: what the schema of the app manifest says; functions: what custom-functions-metadata reads from
// the same functions written as TypeScript; limits: those of the schema.

import { mkdtempSync, readFileSync, rmSync, writeFileSync } from "node:fs";
import { createRequire } from "node:module";
import { tmpdir } from "node:os";
import { join } from "node:path";

const require = createRequire(import.meta.url);
const { ManifestUtil } = require("@microsoft/app-manifest");
const { generateCustomFunctionsMetadata } = require("custom-functions-metadata");
const schema = require("@microsoft/app-manifest/build/json-schemas/teams/v1.30/MicrosoftTeams.schema.json");

const metadata = JSON.parse(readFileSync(process.argv[2], "utf8"));

// The schema knows functions as a part of a whole manifest; the parts around them are the least it wants.
const manifest = {
  manifestVersion: "1.30", version: "1.0.0", id: "00000000-0000-4000-8000-000000000000", accentColor: "#0d5c63",
  developer: { name: "x", websiteUrl: "https://localhost/", privacyUrl: "https://localhost/", termsOfUseUrl: "https://localhost/" },
  name: { short: "x", full: "x" }, description: { short: "x", full: "x" }, icons: { color: "a.png", outline: "b.png" },
  extensions: [{
    runtimes: [{
      id: "r", type: "general", lifetime: "long", code: { page: "https://localhost/excel" },
      customFunctions: { namespace: { id: "DAMP", name: "DAMP" }, functions: metadata.functions },
    }],
  }],
};
// One pattern of the schema is no regular expression in the mode that its checker uses.
const text = JSON.stringify(schema).replaceAll("^[\\\\p{L}][\\\\p{L}0-9._]*$", "^[A-Za-z][A-Za-z0-9._]*$");
const errors = await ManifestUtil.validateManifestAgainstSchema(manifest, JSON.parse(text));

// Names get an underscore here, since "function" is one of ours and no name in TypeScript; it is cut off again.
function source({ id, description, parameters }) {
  const lines = parameters.map(({ name, description: help }) => ` * @param ${name}_ ${help}`);
  const typed = parameters.map(({ name, optional, repeating }) => `${name}_${optional ? "?" : ""}: any[][]${repeating ? "[]" : ""}`);
  return `/**\n * ${description}\n * @customfunction ${id}\n${lines.join("\n")}\n */\nexport function ${id}(${typed.join(", ")}): any[][] { return []; }\n`;
}

const folder = mkdtempSync(join(tmpdir(), "dampcell-"));
const file = join(folder, "functions.ts");
writeFileSync(file, metadata.functions.map(source).join("\n"));
const read = await generateCustomFunctionsMetadata(file);
rmSync(folder, { recursive: true });
const functions = read.errors.length ? [] : JSON.parse(read.metadataJson).functions;
for (const parameter of functions.flatMap(({ parameters }) => parameters)) parameter.name = parameter.name.replace(/_$/, "");

const { extensionFunction, extensionFunctionParameter } = schema.definitions;
process.stdout.write(JSON.stringify({
  errors: [...errors, ...read.errors],
  functions,
  limits: {
    id: extensionFunction.properties.id, description: extensionFunction.properties.description.maxLength,
    parameters: extensionFunction.properties.parameters.maxItems, help: extensionFunctionParameter.properties.description.maxLength,
  },
}));
