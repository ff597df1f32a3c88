// Opens report pages and field sheets in Chromium and looks at what only a browser knows.
//
//   node check.mjs FOLDER [--pictures FOLDER]
//
// FOLDER holds NAME.json (the results), NAME.html, NAME.a4.pdf and NAME.letter.pdf for each case, and for event folders the
// field sheets NAME.sheet-a4.html and NAME.sheet-letter.html.

import { existsSync, readFileSync, readdirSync, mkdirSync, mkdtempSync, rmSync } from "node:fs";
import { execFileSync } from "node:child_process";
import { tmpdir } from "node:os";
import { basename, join, resolve } from "node:path";
import { createRequire } from "node:module";
import { pathToFileURL } from "node:url";
import { chromium } from "playwright-core";
import { numbers } from "./numbers.mjs";
import { sheets } from "./sheets.mjs";
import { fieldSheets } from "./field.mjs";

const axeSource = readFileSync(createRequire(import.meta.url).resolve("axe-core/axe.min.js"), "utf8");
const widths = [360, 768, 1280];
const folder = resolve(process.argv[2] ?? ".");
const at = process.argv.indexOf("--pictures");
const pictures = at > 0 ? resolve(process.argv[at + 1]) : null;
if (pictures) mkdirSync(pictures, { recursive: true });

let failures = 0;
let checks = 0;
function check(ok, what) {
  checks += 1;
  if (!ok) {
    failures += 1;
    console.error(`  FAILED ${what}`);
  }
}

function program() {
  const names = process.env.CHROMIUM
    ? [process.env.CHROMIUM]
    : ["chromium", "chromium-browser", "google-chrome", "google-chrome-stable"];
  for (const name of names) {
    try {
      return execFileSync("sh", ["-c", 'command -v -- "$0"', name], { encoding: "utf8" }).trim();
    } catch {
      // The next one.
    }
  }
  throw new Error("Chromium is not installed");
}

const profile = mkdtempSync(join(tmpdir(), "draught-browser-"));
const context = await chromium.launchPersistentContext(profile, {
  executablePath: program(),
  headless: true,
  chromiumSandbox: process.getuid?.() !== 0,
  args: [
    "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync",
  ],
});

const names = readdirSync(folder)
  .filter((n) => n.endsWith(".html") && !n.includes(".sheet-"))
  .map((n) => basename(n, ".html"));
check(names.length > 0, `there are pages in ${folder}`);
for (const name of names.sort()) {
  console.log(name);
  const results = JSON.parse(readFileSync(join(folder, `${name}.json`), "utf8"));
  await onePage(name, results);
  sheets(folder, name, results, check);
  for (const paper of ["a4", "letter"]) {
    const sheet = join(folder, `${name}.sheet-${paper}.html`);
    if (existsSync(sheet)) await fieldSheet(`${name}, field sheet, ${paper}`, sheet, paper, results);
  }
}
await context.close();
rmSync(profile, { recursive: true, force: true });
console.log(`${checks} checks of ${names.length} pages, ${failures} failed`);
process.exitCode = failures ? 1 : 0;

async function onePage(name, results) {
  const url = pathToFileURL(join(folder, `${name}.html`)).href;
  const page = await looked(name, url, ["light", "dark"]);
  await headings(name, page);
  await numbers(name, page, results, check);
  await keyboard(name, page, url);
  await page.close();
}

async function fieldSheet(name, file, paper, results) {
  const url = pathToFileURL(file).href;
  const page = await looked(name, url, ["light"]);
  await fieldSheets(name, page, paper, results, check);
  await page.close();
}

/// A page at every width: nothing is said on the console, asked for or too wide, and axe finds nothing.
async function looked(name, url, schemes) {
  const page = await context.newPage();
  const said = [];
  const asked = [];
  page.on("console", (message) => said.push(message.text()));
  page.on("pageerror", (error) => said.push(String(error)));
  page.on("request", (request) => asked.push(request.url()));
  for (const scheme of schemes) {
    await page.emulateMedia({ colorScheme: scheme, media: "screen" });
    for (const width of widths) {
      await page.setViewportSize({ width, height: 800 });
      await page.goto(url);
      const wide = await page.evaluate(tooWide);
      check(wide.length === 0, `${name} at ${width} px, ${scheme}: wider than the screen: ${wide.join("; ")}`);
      if (pictures && (scheme === "light" || width !== 768)) {
        await page.screenshot({ path: join(pictures, `${name}-${scheme}-${width}.png`), fullPage: true });
      }
      if (width === 768) continue;
      await page.evaluate(axeSource);
      for (const violation of await page.evaluate(() => axe.run().then((r) => r.violations))) {
        const where = violation.nodes.slice(0, 3).map((n) => `${n.target.join(" ")} ${n.failureSummary}`);
        check(false, `${name} at ${width} px, ${scheme}: ${violation.id}: ${where.join(" | ")}`);
      }
      check(true, "axe was run");
    }
  }
  check(said.length === 0, `${name}: the console says ${said.join("; ")}`);
  const others = asked.filter((a) => a !== url && a !== "data:,");
  check(asked.length > 0 && others.length === 0, `${name}: the page asks for ${others.join("; ")}`);
  check((await page.locator("script, [src], link[rel=stylesheet], iframe, object, form").count()) === 0, `${name}: something is loaded or sent`);
  return page;
}

/// What reaches over the right edge, beside the page as a whole.
function tooWide() {
  const width = document.documentElement.clientWidth;
  const wide = [];
  if (document.documentElement.scrollWidth > width) wide.push(`the page, ${document.documentElement.scrollWidth} px`);
  for (const element of document.querySelectorAll("body *")) {
    if (element.closest(".unseen, .skip, details:not([open])")) continue;
    const box = element.getBoundingClientRect();
    if (box.width > 0 && box.right > width + 0.5) wide.push(`${element.tagName} ${element.className?.baseVal ?? element.className}`);
  }
  return wide.slice(0, 4);
}

async function headings(name, page) {
  const levels = await page.$$eval("h1, h2, h3, h4", (all) => all.map((h) => Number(h.tagName[1])));
  check(levels.filter((l) => l === 1).length === 1, `${name}: one first heading`);
  check(levels.every((l, i) => i === 0 || l <= levels[i - 1] + 1), `${name}: no level of headings is left out: ${levels}`);
  for (const landmark of ["header", "main", "footer", "nav[aria-label]"]) {
    check((await page.locator(landmark).count()) >= 1, `${name}: has ${landmark}`);
  }
  const tables = await page.$$eval("table", (all) => all.filter((t) => !t.caption?.textContent.trim() || t.querySelector("thead th:not([scope=col])")).length);
  check(tables === 0, `${name}: ${tables} tables without caption or scope`);
  const charts = await page.$$eval(".chart", (all) =>
    all.map((c) => [c.getAttribute("role") === "img" && c.getAttribute("aria-label"), document.getElementById(c.getAttribute("aria-describedby"))?.textContent]),
  );
  const drawn = await page.$$eval(".chart .plot, .spark", (all) =>
    all.map((svg) => {
      const shapes = [...svg.querySelectorAll("rect, line, circle, polyline")];
      const curves = [...svg.querySelectorAll("polyline")];
      return shapes.every((s) => s.childElementCount === 0) && curves.length > 0 && curves.every((c) => c.getBoundingClientRect().width > 0);
    }),
  );
  check(drawn.every(Boolean), `${name}: every curve is drawn`);
  check(charts.every(([title, about]) => title && about?.length > 40), `${name}: every chart is told in words`);
}

/// The skip link comes first and goes to the results; from there on the focus goes down the page.
async function keyboard(name, page, url) {
  await page.setViewportSize({ width: 1280, height: 800 });
  await page.goto(url);
  await page.keyboard.press("Tab");
  const first = await page.evaluate(() => [document.activeElement.className, document.activeElement.getBoundingClientRect().left]);
  check(first[0] === "skip" && first[1] >= 0, `${name}: the first Tab shows the skip link: ${first}`);
  await page.keyboard.press("Enter");
  check((await page.evaluate(() => document.activeElement.id)) === "results", `${name}: the skip link goes to the results`);
  const stops = await page.$$eval("main a, main summary", (all) => all.length);
  let last = -Infinity;
  for (let i = 0; i < stops; i += 1) {
    await page.keyboard.press("Tab");
    const stop = await page.evaluate(() => {
      const box = document.activeElement.getBoundingClientRect();
      const outline = getComputedStyle(document.activeElement).outlineStyle;
      return { inMain: !!document.activeElement.closest("main"), y: box.top + scrollY, outline };
    });
    check(stop.inMain && stop.y >= last - 60 && stop.outline !== "none", `${name}: stop ${i + 1} of the focus: ${JSON.stringify(stop)}, after ${last}`);
    last = stop.y;
  }
  // A table of figures opens with the keyboard alone.
  const summary = page.locator("main details summary").first();
  if (await summary.count()) {
    await summary.focus();
    await page.keyboard.press("Enter");
    check(await page.locator("main details").first().evaluate((d) => d.open), `${name}: a table opens with Enter`);
  }
  for (const width of [360, 1280]) {
    await page.setViewportSize({ width, height: 800 });
    await page.$$eval("details", (all) => all.forEach((d) => (d.open = true)));
    const wide = await page.evaluate(tooWide);
    check(wide.length === 0, `${name} at ${width} px with everything open: ${wide.join("; ")}`);
  }
}
