// What the part is: size first, because a wrong unit is the mistake that costs the whole order.
import { h, type Child } from "../dom";
import type { PartReport } from "../report";
import { text } from "../strings";
import { digits, inUnit, length, mass, quantity, size } from "../units";

function row(name: string, value: Child, hint?: string): HTMLElement {
  return h("div", { class: "fact" }, h("dt", {}, name), h("dd", {}, value, hint ? h("span", { class: "quiet" }, ` ${hint}`) : null));
}

/** So many sizes of holes are named; the list of holes has all of them. */
const MOST_SIZES = 6;

/** "4 × 3.3 mm, 2 × 5 mm": holes of one size together, largest first. */
function holes(list: { diameter_mm: number }[]): string {
  const counts = new Map<string, number>();
  for (const hole of [...list].sort((a, b) => b.diameter_mm - a.diameter_mm)) {
    const key = length(hole.diameter_mm);
    counts.set(key, (counts.get(key) ?? 0) + 1);
  }
  const said = [...counts].map(([d, n]) => `${n} × ⌀ ${d}`);
  const more = said.length - MOST_SIZES;
  return more > 1 ? `${said.slice(0, MOST_SIZES).join(", ")}, ${text.moreSizes(more)}` : said.join(", ");
}

/** `said`: what a person said of it, below what the file says. */
export function factsPanel(report: PartReport, said: HTMLElement | null): HTMLElement {
  const part = report.part;
  const list = h("dl", { class: "facts" });
  if (part) {
    const flat = part.kind === "sheet" && part.flat_mm;
    list.append(row(flat ? text.flatSize : text.size, h("b", {}, size(flat ? part.flat_mm! : part.size_mm))));
    if (part.thickness_mm) list.append(row(text.sheetThickness, length(part.thickness_mm)));
    if (part.mass_g !== null && part.mass_g !== undefined) {
      list.append(row(text.mass, mass(part.mass_g)));
    }
    if (part.volume_mm3) list.append(row(text.volume, quantity(part.volume_mm3, "mm3")));
    if (part.holes?.length) list.append(row(text.holes, holes(part.holes)));
    if (part.bends?.length) list.append(row(text.bends, String(part.bends.length)));
    if (part.kind === "sheet" && part.contours !== undefined) list.append(row(text.contours, String(part.contours)));
    if (part.bodies !== undefined) list.append(row(text.bodies, String(part.bodies)));
    if (part.triangles !== undefined) list.append(row(text.triangles, digits(part.triangles, 0)));
    if (part.watertight !== undefined) list.append(row(text.closed, part.watertight ? text.yes : text.no));
    if (report.format) list.append(row(text.format, report.format));
  }
  const units = part?.units;
  return h(
    "section",
    { class: "panel", "aria-labelledby": "facts-title" },
    h("h2", { id: "facts-title" }, text.whatItIs),
    list,
    said,
    units
      ? h(
          "p",
          { class: units.stated ? "quiet" : "doubt" },
          inUnit(text.unitLine(text.unitNames[units.value] ?? units.value, units.why)),
          units.other && units.other_size_mm
            ? ` ${text.unitOther(text.unitNames[units.other] ?? units.other, size(units.other_size_mm.filter((x) => x > 0)))}`
            : null,
        )
      : null,
    report.notes?.length
      ? h("details", {}, h("summary", {}, text.notes), h("ul", {}, ...report.notes.map((x) => h("li", {}, inUnit(x)))))
      : null,
    h("p", { class: "quiet hash" }, `${text.fileHash}: `, h("code", {}, report.sha256)),
  );
}
