// Every number on a page stands for one in the results: the same value, and text that is that value, rounded.

/// Checks all of them, and the tables that charts are drawn from.
export async function numbers(name, page, results, check) {
  const all = await page.$$eval("[data-value]", (nodes) =>
    nodes.map((n) => ({ pointer: n.dataset.value, value: n.getAttribute("value"), text: n.textContent })),
  );
  for (const { pointer, value, text } of all) {
    const own = follow(results, pointer);
    check(typeof own === "number" && Number(value) === own, `${name}: ${pointer} is ${own}, the page has ${value}`);
    check(isRounded(text, own, /method-fit/.test(pointer)), `${name}: ${pointer} is ${own}, the page reads "${text}"`);
  }
  // A record alone has time, flow and volume; with a field sheet there is much more.
  const happened = (results.samples ?? []).filter((s) => s.happened);
  const least = happened.length * (happened.some((s) => s.verification) ? 20 : 5);
  check(all.length >= least, `${name}: only ${all.length} numbers are marked`);
  await series(name, page, results, check);
}

function follow(results, pointer) {
  return pointer.split("/").slice(1).reduce((at, key) => at?.[key], results);
}

/// The first number in a text is the value, rounded to the figures that are shown; times are made of several. What is below a limit is
/// rounded up, so that it stays below.
function isRounded(text, value, inMinutes = false) {
  const plain = text.replaceAll("\u2212", "-").replaceAll("\u00a0", " ");
  const time = plain.match(/^(?:(\d+) d)? ?(?:(\d+) h)? ?(?:(\d+) min)? ?(?:(\d+(?:\.\d+)?) s)?$/);
  if (time?.slice(1).some((part) => part !== undefined) && (inMinutes || (Number.isInteger(value) && value >= 1000))) {
    const [d, h, min, s] = time.slice(1).map((part) => Number(part ?? 0));
    const ms = (((d * 24 + h) * 60 + min) * 60 + s) * 1000;
    return inMinutes ? Math.abs(ms - value * 60000) <= 30000 : Math.abs(ms - value) < (s ? 1000 : 60000);
  }
  const shown = plain.match(/[+-]?\d+(?:\.(\d+))?/);
  if (!shown) return false;
  // Of a whole number, zeros at its end may stand for figures that are not known: but two figures are there at least.
  const figures = shown[0].replace(/^[+-]/, "");
  const kept = Math.max(2, figures.replace(/0+$/, "").length);
  const step = shown[1] ? 10 ** -shown[1].length : 10 ** Math.max(0, figures.length - kept);
  const off = Number(shown[0]) - value;
  if (plain.startsWith("< ")) return off > -step * 1e-6 && off < step * 1.000001;
  return Math.abs(off) <= step * 0.5000001;
}

/// The rows of a table below a chart are the points of the series.
async function series(name, page, results, check) {
  const withSeries = (results.samples ?? []).map((s, i) => [i, s]).filter(([, s]) => s.series?.length);
  for (const [i, sample] of withSeries) {
    const rows = await page.$$eval(`#sampler-${i + 1} figure ~ details tbody`, (bodies) => {
      const rows = bodies[0]?.querySelectorAll("tr") ?? [];
      return [...rows].map((r) => [...r.querySelectorAll("td")].map((c) => c.textContent));
    });
    const points = sample.series.filter((p) => p["read-ms"] > 0);
    check(rows.length === points.length, `${name}: ${rows.length} rows for ${points.length} points of ${sample.sampler}`);
    rows.forEach((row, n) => {
      const point = points[n] ?? {};
      const wanted = ["flow-l-per-min", "cumulative-l", "drop-kpa", "temperature-c", "pressure-kpa"].map((k) => point[k]);
      wanted.forEach((value, k) => check(isRounded(row[k + 1] ?? "", value), `${name}: row ${n + 1} of ${sample.sampler}: ${row[k + 1]} for ${value}`));
    });
  }
}
