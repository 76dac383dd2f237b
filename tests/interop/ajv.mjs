// Holds the JSON Schemas against a third validator, Ajv, which reads regular expressions and numbers as browsers do.
//
//     npm install ajv@8 ajv-formats@3
//     node tests/interop/ajv.mjs [DOCUMENT.obvert.json ...]
//
// The packages are looked for in the folder that OBVERT_NODE_MODULES names, then from tests/interop upwards. Every schema in schema/ compiles
// in Ajv's strict mode; every document of tests/corpus/structure gets the verdict that the manifest says a plain validator gives, at the
// places that it lists; every document named on the command line is valid. Exit status 0 if all agree, 1 if not.

import { readFileSync, readdirSync } from "node:fs";
import { createRequire } from "node:module";
import { dirname, join } from "node:path";
import { fileURLToPath } from "node:url";

const here = dirname(fileURLToPath(import.meta.url));
const root = join(here, "..", "..");
const modules = process.env.OBVERT_NODE_MODULES;
const require = createRequire(modules ? join(modules, "from-here.js") : import.meta.url);
const { default: Ajv2020 } = require("ajv/dist/2020.js");
const { default: addFormats } = require("ajv-formats");

const complaints = [];
const read = (path) => JSON.parse(new TextDecoder("utf-8", { fatal: true }).decode(readFileSync(path)));

// Strict, but for two things that are no slips: the schema of any JSON names several types on purpose, and list shapes
// are closed by minItems and maxItems rather than as tuples.
const ajv = new Ajv2020({ strict: true, strictTypes: false, strictTuples: false, allErrors: true, verbose: true });
addFormats(ajv);

const compiled = {};
for (const name of readdirSync(join(root, "schema")).filter((name) => name.endsWith(".schema.json"))) {
  const schema = read(join(root, "schema", name));
  if (!ajv.validateSchema(schema)) complaints.push(`${name}: ${ajv.errorsText()}`);
  try {
    compiled[name] = ajv.compile(schema);
  } catch (error) {
    complaints.push(`${name}: ${error.message}`);
  }
}

const escape = (key) => String(key).replaceAll("~", "~0").replaceAll("/", "~1");

// Where a complaint stands, as the manifest has it: at the key for a key that does not belong.
function places(errors) {
  const found = new Set();
  for (const error of errors ?? []) {
    if (error.keyword === "additionalProperties") {
      found.add(`${error.instancePath}/${escape(error.params.additionalProperty)}`);
    } else if (error.keyword === "propertyNames") {
      found.add(`${error.instancePath}/${escape(error.params.propertyName)}`);
    } else if (error.propertyName === undefined) {
      found.add(error.instancePath);
    }
  }
  return found;
}

const document = compiled["document.schema.json"];
const beyond = new Set(["duplicate-key", "duplicate-id"]);
let judged = 0;
const corpus = join(root, "tests", "corpus", "structure");
for (const entry of read(join(corpus, "manifest.json")).cases) {
  if (entry.verdict === "not-json") continue;
  judged += 1;
  const valid = document(read(join(corpus, entry.file)));
  const verdict = valid ? "valid" : "invalid";
  if (verdict !== entry.schema) {
    complaints.push(`${entry.file}: ${verdict}, expected ${entry.schema}: ${ajv.errorsText(document.errors)}`);
    continue;
  }
  const listed = (entry.problems ?? []).filter((problem) => !beyond.has(problem.kind)).map((problem) => problem.pointer);
  const expected = [...new Set(listed)].sort().join(" ");
  const found = [...places(document.errors)].sort().join(" ");
  // A document of an unknown version has that one problem; a schema cannot say that.
  if (expected === "/obvert" && found.split(" ").includes("/obvert")) continue;
  if (expected !== found) complaints.push(`${entry.file}: complaints at ${found}, expected ${expected}`);
}
if (judged < 150) complaints.push(`only ${judged} documents in the corpus`);

const data = join(root, "examples", "data");
const demo = readdirSync(data).filter((name) => name.endsWith(".obvert.json")).map((name) => join(data, name));
const given = [...process.argv.slice(2), ...demo];
for (const path of given) {
  if (!document(read(path))) complaints.push(`${path}: ${ajv.errorsText(document.errors)}`);
}
const builtIn = [["obvert-terms.json", "code-list"], ["en-13508-2.json", "code-list"], ["obvert-grades.json", "grade-scheme"]];
const files = builtIn.map(([name, schema]) => [join(root, "schema", name), schema]);
const profiles = join(root, "examples", "profiles");
files.push(...readdirSync(profiles).map((name) => [join(profiles, name), "profile"]));
for (const [path, schema] of files) {
  const judge = compiled[`${schema}.schema.json`];
  const list = read(path);
  if (!judge(list)) complaints.push(`${path}: ${ajv.errorsText(judge.errors)}`);
  if (judge({ ...list, titel: list.title })) complaints.push(`${path} with a misspelt key is taken by ${schema}.schema.json`);
}

const suite = join(root, "tests", "corpus");
const manifest = ajv.compile(read(join(suite, "manifest.schema.json")));
const parts = ["structure", "formats", "grades", "vectors", "canonical"].map((part) => join(suite, part, "manifest.json"));
parts.push(...readdirSync(join(suite, "rules")).map((name) => join(suite, "rules", name)));
for (const path of parts) {
  if (!manifest(read(path))) complaints.push(`${path}: ${ajv.errorsText(manifest.errors).slice(0, 500)}`);
}

for (const complaint of complaints) console.log(complaint);
console.log(`${judged} documents of the corpus and ${given.length} others judged, ${complaints.length} complaints`);
process.exitCode = complaints.length ? 1 : 0;
