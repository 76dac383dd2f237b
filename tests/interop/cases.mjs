// Holds the schema, read by Ajv, to the verdict of the reader on some thousand generated cases, as test_cases.py does with another engine.
//
//     npm install ajv@8 ajv-formats@3
//     OBVERT_CASES=cases.jsonl cargo test -p obvert-model --test properties generated_cases
//     OBVERT_CASES=cases.jsonl node tests/interop/cases.mjs
//
// The packages are looked for in the folder that OBVERT_NODE_MODULES names, then from tests/interop upwards. Without OBVERT_CASES, cargo
// makes the cases. Exit status 0 if all agree, 1 if not.

import { spawnSync } from "node:child_process";
import { mkdtempSync, readFileSync, rmSync } from "node:fs";
import { createRequire } from "node:module";
import { tmpdir } from "node:os";
import { dirname, join } from "node:path";
import { fileURLToPath } from "node:url";

const root = join(dirname(fileURLToPath(import.meta.url)), "..", "..");
const modules = process.env.OBVERT_NODE_MODULES;
const require = createRequire(modules ? join(modules, "from-here.js") : import.meta.url);
const { default: Ajv2020 } = require("ajv/dist/2020.js");

function cases() {
  if (process.env.OBVERT_CASES) return readFileSync(process.env.OBVERT_CASES, "utf8");
  const folder = mkdtempSync(join(tmpdir(), "obvert-cases-"));
  const path = join(folder, "cases.jsonl");
  const run = spawnSync("cargo", ["test", "--quiet", "-p", "obvert-model", "--test", "properties", "generated_cases"], {
    cwd: root, env: { ...process.env, OBVERT_CASES: path }, encoding: "utf8",
  });
  if (run.status !== 0) throw new Error(run.stdout + run.stderr);
  const text = readFileSync(path, "utf8");
  rmSync(folder, { recursive: true });
  return text;
}

const schema = JSON.parse(readFileSync(join(root, "schema", "document.schema.json"), "utf8"));
const compiled = (schema) => new Ajv2020({ strict: true, strictTypes: false, strictTuples: false }).compile(schema);
const lines = cases().trimEnd().split("\n").map((line) => JSON.parse(line));

// What the schema has against the verdicts, and how many cases of each kind it accepts and refuses.
function judge(validate, lines) {
  const complaints = [];
  const counts = new Map();
  for (const { kind, at, source, schema } of lines) {
    const verdict = validate(JSON.parse(source)) ? "valid" : "invalid";
    const count = counts.get(kind) ?? { valid: 0, invalid: 0 };
    counts.set(kind, count);
    count[verdict] += 1;
    if (verdict !== schema) complaints.push(`${kind} at ${at}: ${verdict}, expected ${schema}: ${source}`);
  }
  return { complaints, counts };
}

const { complaints, counts } = judge(compiled(schema), lines);
console.log(`${"kind".padEnd(22)} ${"valid".padStart(8)} ${"invalid".padStart(8)}`);
for (const [kind, { valid, invalid }] of [...counts].sort(([a], [b]) => (a < b ? -1 : 1))) {
  console.log(`${kind.padEnd(22)} ${String(valid).padStart(8)} ${String(invalid).padStart(8)}`);
}
if (lines.length < 2_000) complaints.push(`only ${lines.length} cases`);
// The judge can say no: a schema that asks for less is noticed.
const loose = structuredClone(schema);
delete loose.$id;
loose.$defs.Observation.required = loose.$defs.Observation.required.filter((key) => key !== "code");
if (judge(compiled(loose), lines).complaints.length === 0) complaints.push("no case shows that an observation needs no code");
for (const complaint of complaints.slice(0, 20)) console.log(complaint.slice(0, 400));
console.log(`${lines.length} cases judged, ${complaints.length} complaints`);
process.exitCode = complaints.length ? 1 : 0;
