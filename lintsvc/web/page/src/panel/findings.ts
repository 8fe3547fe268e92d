// The ranked list of findings, worst first. The chosen one opens: remedy, source, caution.
import { fill, h, s } from "../dom";
import type { Finding, Level, PartReport } from "../report";
import { text } from "../strings";
import { quantity } from "../units";

/** Form as well as colour tells the levels apart. */
export function levelMark(level: Level): SVGSVGElement {
  const mark = s("svg", { class: `mark mark-${level}`, viewBox: "0 0 16 16", "aria-hidden": "true" });
  if (level === "error") mark.append(s("path", { d: "M5 .5h6l4.5 4.5v6L11 15.5H5L.5 11V5z" }), s("path", { class: "mark-sign", d: "M5 5l6 6m0-6l-6 6" }));
  else if (level === "warning") mark.append(s("path", { d: "M8 .8L15.6 15H.4z" }), s("path", { class: "mark-sign", d: "M8 5.5v5m0 1.6v1" }));
  else mark.append(s("circle", { cx: 8, cy: 8, r: 7.5 }), s("path", { class: "mark-sign", d: "M8 7v5M8 4v1" }));
  return mark;
}

/** Measured against the limit, on one scale from zero. */
function bar(finding: Finding): HTMLElement | null {
  const { measured, limit } = finding;
  if (!measured || !limit || limit.value <= 0 || measured.value < 0) return null;
  const top = Math.max(measured.value, limit.value) * 1.15;
  const at = (x: number) => (x / top) * 100;
  const drawing = s("svg", { class: "bar", viewBox: "0 0 100 8", preserveAspectRatio: "none", "aria-hidden": "true" });
  drawing.append(
    s("rect", { class: "bar-ground", x: 0, y: 2, width: 100, height: 4 }),
    s("rect", { class: `bar-value bar-${finding.level}`, x: 0, y: 2, width: at(measured.value), height: 4 }),
    s("rect", { class: "bar-limit", x: at(limit.value) - 0.4, y: 0, width: 0.8, height: 8 }),
  );
  return h(
    "div",
    { class: "against" },
    drawing as unknown as Node,
    h("span", {}, h("b", {}, quantity(measured.value, measured.unit)), ` ${text.measured}`),
    h("span", {}, h("b", {}, quantity(limit.value, limit.unit)), ` ${text.limit}`),
  );
}

function details(finding: Finding): HTMLElement {
  const source = finding.limit?.source;
  return h(
    "div",
    { class: "finding-more" },
    h("p", {}, h("b", {}, `${text.remedy}: `), finding.remedy),
    finding.caution ? h("p", { class: "caution" }, h("b", {}, `${text.caution}: `), finding.caution) : null,
    source
      ? h("p", { class: "quiet" }, `${text.source}: `, h("b", {}, text.sourceKinds[source.kind] ?? source.kind), `. ${source.text}`)
      : null,
    h("p", { class: "quiet" }, `${text.rule}: `, h("code", {}, finding.rule)),
  );
}

export class FindingsPanel {
  readonly element = h("section", { class: "panel findings", id: "findings", "aria-labelledby": "findings-title", tabindex: -1 });
  private items: HTMLElement[] = [];
  private part: PartReport | null = null;
  private chosen: number | null = null;

  constructor(private readonly onChoose: (index: number | null) => void) {}

  show(part: PartReport): void {
    this.part = part;
    this.draw();
  }

  choose(index: number | null): void {
    if (index === this.chosen) return;
    this.chosen = index;
    this.draw();
    if (index !== null) this.items[index]?.scrollIntoView({ block: "nearest", behavior: "smooth" });
  }

  private draw(): void {
    const part = this.part;
    if (!part) return;
    // Focus would be lost with the old button.
    const focused = this.items.findIndex((x) => x.contains(document.activeElement));
    this.items = part.findings.map((finding, i) => this.item(finding, i));
    fill(
      this.element,
      h("h2", { id: "findings-title" }, text.whatIsWrong),
      part.findings.length
        ? h("ol", { class: "finding-list" }, ...this.items)
        : h("p", { class: "nothing" }, text.nothingWrong),
    );
    if (focused >= 0) this.items[focused]?.querySelector("button")?.focus({ preventScroll: true });
  }

  private item(finding: Finding, index: number): HTMLElement {
    const open = index === this.chosen;
    const button = h(
      "button",
      { type: "button", class: "finding-head", "aria-expanded": String(open), onclick: () => this.onChoose(open ? null : index) },
      levelMark(finding.level) as unknown as Node,
      h("span", { class: "finding-message" }, h("span", { class: "sr" }, `${text.levels[finding.level]}: `), finding.message),
    );
    const item = h("li", { class: `finding finding-${finding.level}${open ? " open" : ""}${finding.set_aside ? " aside" : ""}` }, button);
    const against = bar(finding);
    if (against) item.append(against);
    if (finding.set_aside) item.append(h("p", { class: "quiet" }, `${text.setAside}: ${finding.set_aside}`));
    if (open) item.append(details(finding));
    return item;
  }
}
