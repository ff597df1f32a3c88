// The field sheet: what it is for is written with a pen, so it is looked at on paper as well.

import { execFileSync } from "node:child_process";
import { mkdtempSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";

const sizes = { a4: /595|594\.9/, letter: /612 x 792/ };

/// Every sampler has its place, with what was read there; tables have heads; prints have their size, few sheets, and a number on each.
export async function fieldSheets(name, page, paper, results, check) {
  const samples = results.samples ?? [];
  check((await page.locator("h1").count()) === 1 && (await page.locator("main").count()) === 1, `${name}: one first heading, in main`);
  const without = await page.$$eval("table", (all) => all.filter((t) => t.querySelector("thead th:not([scope=col])") || !t.querySelector("thead th")).length);
  check(without === 0, `${name}: ${without} tables without heads`);
  const sections = await page.$$eval("section.sampler", (all) => all.map((s) => [s.querySelector("h2")?.textContent ?? "", s.textContent]));
  check(sections.length === samples.length, `${name}: ${sections.length} samplers for ${samples.length}`);
  samples.forEach((sample, i) => {
    const [head, text] = sections[i] ?? ["", ""];
    check(head.startsWith(`${sample.sampler},`), `${name}: ${sample.sampler} is headed ${head}`);
    check(!sample.simulated || head.includes("SIMULATED, NOT A SAMPLE"), `${name}: ${sample.sampler} says that it is simulated`);
    for (const which of ["before", "after"]) {
      const mean = sample.verification?.[which]?.["mean-l-per-min"];
      if (mean !== undefined) check(text.includes(mean.toPrecision(4)), `${name}: ${sample.sampler} ${which} ${mean} is on it`);
    }
    for (const value of [sample.custody?.["media-lot"], sample.custody?.seal, sample.worker, sample.pump]) {
      if (value) check(text.includes(value), `${name}: ${sample.sampler}: ${value} is on it`);
    }
  });
  const folder = mkdtempSync(join(tmpdir(), "draught-sheet-"));
  const file = join(folder, "sheet.pdf");
  await page.pdf({ path: file, preferCSSPageSize: true });
  const info = execFileSync("pdfinfo", [file], { encoding: "utf8" });
  check(sizes[paper].test(info.match(/Page size:.*/)?.[0] ?? ""), `${name}: it is ${info.match(/Page size:.*/)?.[0]}`);
  const pages = Number(info.match(/Pages:\s+(\d+)/)?.[1]);
  const pumps = samples.filter((s) => s.kind === "pump").length;
  // Two samplers on a sheet of A4; Letter is shorter. One for the head, one for the chain of custody.
  const [least, most] = [2 + Math.ceil(pumps / 2), 3 + pumps + Math.ceil((samples.length - pumps) / 3)];
  check(pages >= least && pages <= most, `${name}: ${pages} sheets, ${least} to ${most} expected`);
  const texts = execFileSync("pdftotext", ["-layout", file, "-"], { encoding: "utf8" }).split("\f").slice(0, pages);
  texts.forEach((text, i) => {
    check(text.includes(`${i + 1} of ${pages}`), `${name}: sheet ${i + 1} has its number`);
    check(text.includes("Field sheet: "), `${name}: sheet ${i + 1} says what it belongs to`);
    check(!results.simulated || text.includes("SIMULATED, NOT A SAMPLE"), `${name}: sheet ${i + 1} says that it is simulated`);
  });
  // No sampler is parted by the end of a sheet.
  for (const sample of samples.filter((s) => s.kind === "pump")) {
    const own = texts.filter((text) => text.includes(`${sample.sampler}, sampler on a pump`));
    check(own.length === 1 && /What was done and seen/.test(own[0].split(`${sample.sampler}, sampler on a pump`)[1] ?? ""), `${name}: ${sample.sampler} is whole`);
  }
  rmSync(folder, { recursive: true, force: true });
}
