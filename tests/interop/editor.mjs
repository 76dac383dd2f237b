// Opens a survey in a JSON language server, as an editor does, and holds what it offers against the schema: keys and words that can stand
// at a place, what a field means and in which unit, and what is wrong. Nothing is fetched: the schema comes from schema/.
//
//     npm install vscode-langservers-extracted@4
//     node tests/interop/editor.mjs
//
// The package is looked for in the folder that OBVERT_NODE_MODULES names, then from tests/interop upwards. The server is a process of its
// own that is spoken to by the Language Server Protocol 3.17. The schema is associated by file name, with the settings that the README
// gives: they are read from there. Exit status 0 if all is as it should be, 1 if not.

import { spawn } from "node:child_process";
import { readFileSync } from "node:fs";
import { createRequire } from "node:module";
import { dirname, join } from "node:path";
import { fileURLToPath, pathToFileURL } from "node:url";

const root = join(dirname(fileURLToPath(import.meta.url)), "..", "..");
const modules = process.env.OBVERT_NODE_MODULES;
const require = createRequire(modules ? join(modules, "from-here.js") : import.meta.url);
const manifest = require.resolve("vscode-langservers-extracted/package.json");
const server = spawn(process.execPath, [join(dirname(manifest), "bin", "vscode-json-language-server"), "--stdio"], {
  stdio: ["pipe", "pipe", "inherit"],
});

const complaints = [];
let passed = 0;
function expect(condition, what) {
  if (condition) passed += 1;
  else complaints.push(what);
}

// The base protocol: a header with the length in bytes, and JSON-RPC behind it.
const waiting = new Map();
const diagnostics = new Map();
const fetched = [];
let buffer = Buffer.alloc(0);
server.stdout.on("data", (chunk) => {
  buffer = Buffer.concat([buffer, chunk]);
  for (;;) {
    const end = buffer.indexOf("\r\n\r\n");
    if (end < 0) return;
    const length = Number(/Content-Length: (\d+)/i.exec(buffer.subarray(0, end).toString())[1]);
    if (buffer.length < end + 4 + length) return;
    take(JSON.parse(buffer.subarray(end + 4, end + 4 + length).toString("utf8")));
    buffer = buffer.subarray(end + 4 + length);
  }
});

function send(message) {
  const body = Buffer.from(JSON.stringify({ jsonrpc: "2.0", ...message }));
  server.stdin.write(`Content-Length: ${body.length}\r\n\r\n`);
  server.stdin.write(body);
}

function take(message) {
  if (message.method === "textDocument/publishDiagnostics") {
    diagnostics.get(message.params.uri)?.(message.params.diagnostics);
  } else if (message.method === "vscode/content") {
    // The server asks its editor for a schema that it does not read by itself.
    const url = [message.params].flat()[0];
    fetched.push(url);
    send({ id: message.id, error: { code: -32603, message: `${url} is not fetched` } });
  } else if (message.method && message.id !== undefined) {
    send({ id: message.id, result: null });
  } else if (waiting.has(message.id)) {
    const { resolve, reject } = waiting.get(message.id);
    waiting.delete(message.id);
    if (message.error) reject(new Error(message.error.message));
    else resolve(message.result);
  }
}

let last = 0;
function request(method, params) {
  last += 1;
  const id = last;
  return new Promise((resolve, reject) => {
    waiting.set(id, { resolve, reject });
    send({ id, method, params });
  });
}
const notify = (method, params) => send({ method, params });

// What the README tells people to put into the settings of their editor, with the schema's place filled in.
function association() {
  const readme = readFileSync(join(root, "README.md"), "utf8");
  const block = /<!-- editor settings -->\s*```json\n([^]*?)```/.exec(readme)[1];
  const settings = JSON.parse(block)["json.schemas"];
  return settings.map(({ fileMatch, url }) => ({ fileMatch, url: pathToFileURL(join(root, url)).href }));
}

const text = readFileSync(join(root, "examples", "data", "larkmoor.obvert.json"), "utf8");
const schema = JSON.parse(readFileSync(join(root, "schema", "document.schema.json"), "utf8"));
let opened = 0;

// Opens a text under a name, and waits for what the server finds wrong with it.
async function open(content, name = "larkmoor.obvert.json") {
  opened += 1;
  const uri = `file:///surveys/${opened}/${name}`;
  const found = new Promise((resolve) => diagnostics.set(uri, resolve));
  notify("textDocument/didOpen", { textDocument: { uri, languageId: "json", version: 1, text: content } });
  return { uri, wrong: await found };
}

function position(content, offset) {
  const before = content.slice(0, offset).split("\n");
  return { line: before.length - 1, character: before.at(-1).length };
}

const at = (content, uri, offset) => ({ textDocument: { uri }, position: position(content, offset) });
const textOf = (hover) => [hover?.contents].flat().map((part) => part?.value ?? part ?? "").join("\n");
// An editor shows prose, in which Markdown escapes stand for the characters themselves.
const plain = (prose) => prose.replace(/\\([^\w\s])/g, "$1").replace(/&nbsp;/g, " ").replace(/\s+/g, " ");

async function offered(content, offset) {
  const { uri } = await open(content);
  const answer = await request("textDocument/completion", at(content, uri, offset));
  return (answer.items ?? answer).map((item) => item.label.replace(/^"|"$/g, ""));
}

async function hover(content, offset, name) {
  const { uri } = await open(content, name);
  return plain(textOf(await request("textDocument/hover", at(content, uri, offset))));
}

// The text with something put behind the first place where a pattern ends, and where the cursor stands in it: at `|`.
function edited(pattern, insertion, replace = 0) {
  const match = pattern.exec(text);
  if (!match) throw new Error(`nothing in the survey is like ${pattern}`);
  const start = match.index + match[0].length;
  const cursor = insertion.indexOf("|");
  const plain = insertion.replace("|", "");
  return { content: text.slice(0, start) + plain + text.slice(start + replace), offset: start + Math.max(cursor, 0) };
}

async function judge() {
  await request("initialize", {
    processId: process.pid,
    rootUri: null,
    capabilities: { textDocument: { completion: { completionItem: { documentationFormat: ["markdown"] } }, hover: {} } },
    initializationOptions: { handledSchemaProtocols: ["file"], provideFormatter: false },
  });
  notify("initialized", {});
  const associated = association();
  notify("workspace/didChangeConfiguration", {
    settings: { json: { validate: { enable: true }, schemas: associated }, http: {} },
  });

  // The survey as it is: nothing to complain of, neither here nor there.
  const whole = await open(text);
  expect(whole.wrong.length === 0, `the survey is found wrong: ${JSON.stringify(whole.wrong.slice(0, 2))}`);

  // A key in an observation: every field of the schema that does not stand there yet, and none that does.
  const observation = edited(/"observations": \[\s*\{/, '"|", ');
  const keys = await offered(observation.content, observation.offset);
  const fields = Object.keys(schema.$defs.Observation.properties);
  const rest = text.slice(/"observations": \[\s*/.exec(text).index);
  const row = JSON.parse(rest.slice(rest.indexOf("{"), rest.indexOf("\n", rest.indexOf("{"))).replace(/,\s*$/, ""));
  const missing = fields.filter((field) => !(field in row));
  expect(missing.length > 5 && missing.every((field) => keys.includes(field)), `keys offered in an observation: ${keys}`);
  expect(keys.every((key) => missing.includes(key)), `keys offered that cannot stand in an observation: ${keys}`);

  // Words of a vocabulary, here and in the settings of a document.
  for (const [pattern, name] of [
    [/"structures": \[\s*\{"id": "LM-101", "kind": "/, "StructureKind"],
    [/"units": \{"length": "/, "LengthUnit"],
  ]) {
    const match = pattern.exec(text);
    const words = await offered(text, match.index + match[0].length);
    expect(schema.$defs[name].enum.every((word) => words.includes(word)), `words offered for ${name}: ${words}`);
    expect(words.length === schema.$defs[name].enum.length, `words offered for ${name}: ${words}`);
  }

  // What a field means, and its unit.
  for (const [pattern, field] of [
    [/"observations": \[\s*\{"id": "[^"]*", "a/, ["Observation", "at"]],
    [/"pipes": \[\s*\{[^\n]*?"hei/, ["Pipe", "height"]],
    [/"equipment": \[\s*\{[^\n]*?"cable_le/, ["Equipment", "cable_length"]],
  ]) {
    const match = pattern.exec(text);
    const shown = await hover(text, match.index + match[0].length - 1);
    const { description, $comment } = schema.$defs[field[0]].properties[field[1]];
    const unit = $comment.replace("unit: the document's ", "");
    expect(shown.includes(plain(description)), `hover on ${field.join(".")} says ${shown}`);
    expect(shown.includes(unit), `hover on ${field.join(".")} does not name its unit, ${unit}: ${shown}`);
  }
  const word = /"structures": \[\s*\{"id": "LM-101", "kind": "man/.exec(text);
  const meaning = await hover(text, word.index + word[0].length);
  expect(meaning.length > 20, `hover on a word says ${meaning}`);

  // What is wrong, at its place.
  for (const [pattern, length, other, says] of [
    [/"units": \{"length": /, '"ft"'.length, '"feet"', "us-ft"],
    [/"structures": \[\s*\{"id": "LM-101", "kind": /, '"manhole"'.length, '"manhol"', "catch-basin"],
    [/"observations": \[\s*\{/, 0, '"remarks": "x", ', "remarks"],
    [/"issued": /, '"2026-05-08T16:20:00-05:00"'.length, '"2026-05-08T16:20:00"', "pattern"],
    [/"cable_length": /, "980".length, '"980"', "number"],
  ]) {
    const { content, offset } = edited(pattern, other, length);
    const { wrong } = await open(content);
    const { line } = position(content, offset);
    expect(wrong.length === 1, `${other}: ${wrong.length} complaints: ${JSON.stringify(wrong.slice(0, 3))}`);
    expect(wrong[0]?.range.start.line === line, `${other}: complained of in line ${wrong[0]?.range.start.line}, not ${line}`);
    expect(wrong[0]?.message.includes(says), `${other}: ${wrong[0]?.message}`);
  }

  // Another file is left alone: it is the name that brings the schema.
  const other = await open(text.replace('"ft"', '"feet"'), "larkmoor.json");
  expect(other.wrong.length === 0, `a file of another name is judged: ${JSON.stringify(other.wrong.slice(0, 2))}`);
  expect((await hover(text, /"pipes": \[\s*\{[^\n]*?"hei/.exec(text).index + 1, "larkmoor.json")) === "", "it is explained");
  // Unless it names its schema by itself.
  const named = `{"$schema": ${JSON.stringify(associated[0].url)},${text.slice(1)}`;
  expect((await open(named, "larkmoor.json")).wrong.length === 0, "a survey that names its schema is found wrong");
  const wrongly = await open(named.replace('"ft"', '"feet"'), "larkmoor.json");
  expect(wrongly.wrong.length === 1, `a wrong word in one: ${JSON.stringify(wrongly.wrong.slice(0, 2))}`);
  expect(fetched.length === 0, `the server wants to fetch ${fetched}`);
  await request("shutdown", null);
  notify("exit");
}

const late = setTimeout(() => {
  console.log("the language server does not answer");
  server.kill();
  process.exit(1);
}, 60_000);
try {
  await judge();
} catch (error) {
  complaints.push(error.stack);
  server.kill();
}
clearTimeout(late);
for (const complaint of complaints) console.log(complaint.slice(0, 600));
console.log(`${passed} answers of the language server are right, ${complaints.length} complaints`);
process.exitCode = complaints.length ? 1 : 0;
