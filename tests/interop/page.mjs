// Holds the page that `obvert check --format html` makes against judges from outside: html-validate for the markup, and axe-core for
// accessibility (WCAG 2.2 A and AA, and its best practices), in jsdom. Where CHROMIUM names a browser, axe judges in it as well, wide and
// narrow, light and dark, colours included, which takes some minutes; then the page must fetch nothing, fit a narrow window, print, filter
// with and without its script, and run nothing that a survey brought along.
//
//     npm install axe-core@4 jsdom@24 html-validate@8 puppeteer-core@22
//     OBVERT=target/debug/obvert node tests/interop/page.mjs
//
// The packages are looked for in the folder that OBVERT_NODE_MODULES names, then from tests/interop upwards. Exit status 0 if all is as
// it should be, 1 if not.

import { spawnSync } from "node:child_process";
import { mkdtempSync, readFileSync, rmSync, writeFileSync } from "node:fs";
import { createRequire } from "node:module";
import { tmpdir } from "node:os";
import { dirname, join } from "node:path";
import { fileURLToPath, pathToFileURL } from "node:url";

const root = join(dirname(fileURLToPath(import.meta.url)), "..", "..");
const modules = process.env.OBVERT_NODE_MODULES;
const require = createRequire(modules ? join(modules, "from-here.js") : import.meta.url);
const axe = readFileSync(require.resolve("axe-core/axe.min.js"), "utf8");
const { JSDOM, VirtualConsole } = require("jsdom");
const { HtmlValidate } = require("html-validate");

const command = process.env.OBVERT ? process.env.OBVERT.split(" ") : ["cargo", "run", "--quiet", "--bin", "obvert", "--"];
const folder = mkdtempSync(join(tmpdir(), "obvert-page-"));
const complaints = [];
const complain = (page, what) => complaints.push(`${page}: ${what}`);

function check(files, ...more) {
  const [program, ...first] = command;
  const run = spawnSync(program, [...first, "check", ...files, "--today", "2026-06-15", "--format", "html", ...more], {
    cwd: root, encoding: "utf8", maxBuffer: 1 << 28,
  });
  if (!run.stdout) throw new Error(run.stderr);
  return run.stdout;
}

const data = (name) => join(root, "examples", "data", name);
const rejected = JSON.parse(readFileSync(data("larkmoor-rejected.obvert.json"), "utf8"));

function written(name, document) {
  const path = join(folder, name);
  writeFileSync(path, JSON.stringify(document));
  return path;
}

// Ids and remarks that would run, hide or turn something if they were more than text.
const hostile = {
  "P-101": "<script>window.hit = 1</script>", "P-102": "\"><img src=x onerror=\"window.hit = 1\">", "R-01": "\u202Ednuora",
  "R-02": "</title></svg><svg onload=window.hit=1>", "LM-101": "{{7*7}} & 'quotes' ]]>", "P-103": "x".repeat(300),
};
const replaced = JSON.parse(JSON.stringify(rejected), (_, value) => hostile[value] ?? value);
const crowded = structuredClone(rejected);
const rows = crowded.runs[1].observations;
for (let number = 0; number < 60; number += 1) rows.splice(5, 0, { ...rows[5], id: `more-${number}`, clock: { at: 13 } });
const broken = structuredClone(rejected);
broken.pipes[0].hieght = 8;

const pages = {
  clean: check([data("larkmoor.obvert.json")]),
  rejected: check([data("larkmoor-rejected.obvert.json")]),
  several: check([data("larkmoor.obvert.json"), data("larkmoor-rejected.obvert.json"), "no-such-file.json"]),
  hostile: check([written("hostile.json", replaced)]),
  crowded: check([written("crowded.json", crowded)]),
  broken: check([written("broken.json", broken)], "--severity", "media-unused=off", "--limit", "camera-speed.limit=3"),
};

const validator = new HtmlValidate({
  extends: ["html-validate:recommended"],
  rules: {
    // The page is one file on purpose, and ids of findings begin with what they are.
    "long-title": "off",
    "no-inline-style": "error",
    "require-sri": "off",
    // An empty box that a script fills is there for screen readers.
    "prefer-native-element": ["error", { exclude: ["group", "status", "region"] }],
  },
});

const options = { runOnly: ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"], resultTypes: ["violations"] };
const say = (violation) =>
  `${violation.id}: ${violation.help}: ${violation.nodes.slice(0, 3).map((node) => node.html.slice(0, 160)).join(" | ")}`;

// Some judges are slow, and the parts of a page are alike: they get the first ones, without the style of the filter.
function cut(html) {
  const [head, ...parts] = html.split('<section class="part" ');
  if (parts.length === 0) return html;
  const gone = new Set(parts.slice(4).map((part) => part.match(/^id="([^"]+)"/)[1]));
  const tail = parts.at(-1).split("</section>\n").slice(1).join("</section>\n");
  const kept = parts.slice(0, 4).map((part) => `<section class="part" ${part.split("</section>\n")[0]}</section>\n`).join("");
  const nav = /<li><a href="#([^"]+)">.*\n/g;
  return head.replace(/^body:has.*$/gm, "").replace(nav, (item, id) => (gone.has(id) ? "" : item)) + kept + tail;
}

async function inJsdom(html) {
  // What jsdom cannot do it says on a console of its own.
  const dom = new JSDOM(html, { runScripts: "outside-only", pretendToBeVisual: true, virtualConsole: new VirtualConsole() });
  dom.window.eval(axe);
  // It has no layout, so colours and scrolling are for the browser.
  const rules = { "color-contrast": { enabled: false }, "scrollable-region-focusable": { enabled: false } };
  const { violations } = await dom.window.axe.run(dom.window.document, { ...options, rules });
  return { violations };
}

// The judges can say no.
const spoilt = cut(pages.rejected)
  .replace('<html lang="en">', "<html>").replace("<h1>", '<h1 id="looked-at">').replace(/ aria-labelledby="looked-at"/g, ' aria-labelledby="x"');
if ((await inJsdom(spoilt)).violations.length === 0) complain("spoilt", "axe lets it pass");
if ((await validator.validateString(spoilt)).valid) complain("spoilt", "html-validate lets it pass");

for (const [name, html] of Object.entries(pages)) {
  const report = await validator.validateString(cut(html));
  for (const message of report.results.flatMap((result) => result.messages).slice(0, 8)) {
    complain(name, `html-validate ${message.ruleId}: ${message.message} (line ${message.line})`);
  }
  if (!html.includes("which local codes and licensed practice decide")) complain(name, "no caution");
  const { violations } = await inJsdom(cut(html));
  for (const violation of violations) complain(name, `axe ${say(violation)}`);
}

async function inBrowser(executablePath) {
  const puppeteer = require("puppeteer-core");
  const chromium = await puppeteer.launch({ executablePath, args: ["--no-sandbox", "--disable-gpu"] });
  try {
    for (const [name, html] of Object.entries(pages)) {
      const path = join(folder, `${name}.html`);
      writeFileSync(path, html);
      for (const [width, scheme] of [[1280, "light"], [1280, "dark"], [400, "light"]]) {
        const where = `${name} at ${width}, ${scheme}`;
        const page = await chromium.newPage();
        const asked = [];
        page.on("request", (request) => asked.push(request.url()));
        page.on("console", (message) => complain(where, `console: ${message.text()}`));
        page.on("pageerror", (error) => complain(where, `error: ${error.message}`));
        await page.setViewport({ width, height: 900 });
        await page.emulateMediaFeatures([{ name: "prefers-color-scheme", value: scheme }]);
        await page.goto(pathToFileURL(path).href);
        if (asked.length !== 1) complain(where, `it fetches: ${asked.slice(1).join(" ")}`);
        if (await page.evaluate(() => window.hit !== undefined)) complain(where, "a survey's text was run");
        const over = await page.evaluate(() => document.documentElement.scrollWidth - window.innerWidth);
        if (over > 0) complain(where, `it is ${over} px wider than the window`);
        if (await page.$("#show-error")) await filter(page, where, true);
        // The policy of the page lets no other script in; the judge has to be one.
        const open = await chromium.newPage();
        await open.setBypassCSP(true);
        await open.setViewport({ width, height: 900 });
        await open.emulateMediaFeatures([{ name: "prefers-color-scheme", value: scheme }]);
        await open.goto(pathToFileURL(path).href);
        await open.evaluate(() => document.querySelectorAll("details").forEach((details) => (details.open = true)));
        await open.evaluate(axe);
        const { violations } = await open.evaluate((options) => window.axe.run(document, options), options);
        for (const violation of violations) complain(where, `axe ${say(violation)}`);
        await open.close();
        await page.close();
      }
      const still = await chromium.newPage();
      await still.setJavaScriptEnabled(false);
      await still.goto(pathToFileURL(path).href);
      if (await still.$("#show-error")) await filter(still, `${name} without script`, false);
      for (const format of ["A4", "Letter"]) {
        const pdf = await still.pdf({ format, preferCSSPageSize: false });
        if (pdf.length < 1000) complain(name, `prints nothing on ${format}`);
      }
      await still.close();
    }
  } finally {
    await chromium.close();
  }
}

// The keyboard takes the errors out; what is left shows, and the script says how many.
async function filter(page, where, script) {
  await page.focus("#show-error");
  await page.keyboard.press("Space");
  if (script) {
    const shown = await page.evaluate(() => ({
      errors: [...document.querySelectorAll(".is-error")].filter((one) => getComputedStyle(one).display !== "none").length,
      status: document.getElementById("shown").textContent,
    }));
    if (shown.errors > 0) complain(where, `${shown.errors} errors show although their box is off`);
    if (!/^\d+ of \d+ are shown\.( In total there are \d+ findings\.)?$/.test(shown.status)) complain(where, `the status says ${JSON.stringify(shown.status)}`);
  } else if ((await page.$$eval(".is-error", (all) => all.filter((one) => one.getClientRects().length > 0).length)) > 0) {
    complain(where, "errors show although their box is off");
  }
  await page.keyboard.press("Space");
}

const browser = process.env.CHROMIUM;
if (browser) await inBrowser(browser);
rmSync(folder, { recursive: true });
for (const complaint of complaints) console.log(complaint);
console.log(`${Object.keys(pages).length} pages judged ${browser ? `in jsdom and in ${browser}` : "in jsdom alone"}, ${complaints.length} complaints`);
process.exitCode = complaints.length ? 1 : 0;
