// Printed pages: how many sheets there are, what stands on each, and that no chart is cut.

import { execFileSync } from "node:child_process";
import { existsSync } from "node:fs";
import { join } from "node:path";

const sizes = { a4: /595|594\.9/, letter: /612 x 792/ };

/// Checks both sizes of paper.
export function sheets(folder, name, results, check) {
  for (const [paper, size] of Object.entries(sizes)) {
    const file = join(folder, `${name}.${paper}.pdf`);
    check(existsSync(file), `${name}: there is no ${paper} print`);
    if (!existsSync(file)) continue;
    const info = execFileSync("pdfinfo", [file], { encoding: "utf8" });
    check(size.test(info.match(/Page size:.*/)?.[0] ?? ""), `${name}: ${paper} is ${info.match(/Page size:.*/)?.[0]}`);
    check(/Tagged:\s+yes/.test(info), `${name}: ${paper} has structure for screen readers`);
    const pages = Number(info.match(/Pages:\s+(\d+)/)?.[1]);
    const samples = results.samples ?? [];
    const pumped = samples.filter((s) => s.happened).length;
    // Two sheets for a pump, and a third where much is flagged; two blanks or more on one; head and end.
    const many = paper === "a4" ? 4 : 2;
    const flagged = samples.filter((s) => s.happened && s.flags.length > many).length;
    const least = 1 + pumped;
    const most = 3 + 2 * pumped + flagged + Math.ceil((samples.length - pumped) / 2);
    check(pages >= least && pages <= most, `${name}: ${pages} sheets of ${paper}, ${least} to ${most} expected`);
    const texts = execFileSync("pdftotext", ["-layout", file, "-"], { encoding: "utf8" }).split("\f").slice(0, pages);
    texts.forEach((text, i) => {
      check(text.includes(`${i + 1} of ${pages}`), `${name}: ${paper} sheet ${i + 1} has its number`);
      check(!results.simulated || text.includes("SIMULATED, NOT A SAMPLE"), `${name}: ${paper} sheet ${i + 1} says that it is simulated`);
      // Sheets with next to nothing on them are a break in the wrong place; the last may be short.
      const words = text.split(/\s+/).length;
      check(words > 24 || i === pages - 1, `${name}: ${paper} sheet ${i + 1} has ${words} words`);
    });
    // All heads of a chart stand on the sheet of its first: none is cut.
    const first = texts.filter((t) => /Flow, L\/min/.test(t));
    const withChart = samples.filter((s) => s.series?.length).length;
    const whole = texts.filter((t) => /Flow, L\/min/.test(t) && /Volume drawn, L/.test(t) && (/Air pressure, kPa/.test(t) || withChart === 0));
    check(first.length === whole.length && first.length >= (withChart ? 1 : 0), `${name}: ${paper}: ${first.length - whole.length} charts are cut`);
  }
}
