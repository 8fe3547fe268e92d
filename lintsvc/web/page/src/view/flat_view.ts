// A flat part drawn to scale: contours, bends with direction, engraving; findings lit; pan and zoom.
import { fill, h, s } from "../dom";
import type { Point } from "../report";
import { text } from "../strings";
import { length } from "../units";
import type { PartView, PlacedFinding } from "./placed";

export type FlatShape =
  | { line: [number, number, number, number] }
  | { arc: [number, number, number, number, number] }
  | { circle: [number, number, number] }
  | { polyline: number[] };

export interface FlatGeometry {
  box: [[number, number], [number, number]];
  thickness_mm: number | null;
  entities: { number: number; role: string; layer: string; text: string; role_why: string; shapes: FlatShape[] }[];
  contours: { points: number[]; hole: boolean }[];
  bends: {
    line: [number, number, number, number];
    angle_deg: number | null;
    direction: string | null;
    radius_mm: number | null;
    entity: number | null;
  }[];
}

const round = (x: number) => Math.round(x * 1e4) / 1e4;

/** SVG path data of one shape; y grows upwards in the part and downwards on the screen. */
export function pathOf(shape: FlatShape): string {
  if ("line" in shape) {
    const [x0, y0, x1, y1] = shape.line;
    return `M${round(x0)} ${round(-y0)}L${round(x1)} ${round(-y1)}`;
  }
  if ("circle" in shape) {
    const [x, y, r] = shape.circle;
    return `M${round(x - r)} ${round(-y)}a${r} ${r} 0 1 0 ${2 * r} 0a${r} ${r} 0 1 0 ${-2 * r} 0`;
  }
  if ("arc" in shape) {
    const [x, y, r, start, end] = shape.arc;
    const a = (start * Math.PI) / 180;
    const sweep = (((end - start) % 360) + 360) % 360 || 360;
    const b = a + (sweep * Math.PI) / 180;
    const from = `M${round(x + r * Math.cos(a))} ${round(-(y + r * Math.sin(a)))}`;
    return `${from}A${r} ${r} 0 ${sweep > 180 ? 1 : 0} 0 ${round(x + r * Math.cos(b))} ${round(-(y + r * Math.sin(b)))}`;
  }
  const points = shape.polyline;
  let path = "";
  for (let i = 0; i + 1 < points.length; i += 2) path += `${i ? "L" : "M"}${round(points[i]!)} ${round(-points[i + 1]!)}`;
  return path;
}

export class FlatView implements PartView {
  readonly element: HTMLElement;
  private readonly drawing: SVGSVGElement;
  private readonly lights = s("g", { class: "flat-lights" });
  private readonly marks = s("g", { class: "flat-marks" });
  private readonly sizes = s("g", { class: "flat-sizes" });
  private readonly observer: ResizeObserver;
  /** Left, top, width, height of what is shown, in mm with y downwards. */
  private frame: [number, number, number, number] = [0, 0, 1, 1];
  private whole: [number, number, number, number] = [0, 0, 1, 1];
  private chosen: number | null = null;
  private flight: number | null = null;
  private readonly shapesOf = new Map<number, FlatShape[]>();

  constructor(
    private readonly flat: FlatGeometry,
    private readonly findings: PlacedFinding[],
    private readonly onPick: (index: number | null) => void,
  ) {
    for (const entity of flat.entities) this.shapesOf.set(entity.number, entity.shapes);
    this.drawing = s("svg", { class: "flat-drawing", role: "img", tabindex: 0, "aria-label": this.describe() });
    this.drawing.append(this.sheet(), this.curves(), this.bends(), this.lights, this.sizes, this.marks);
    this.element = h("div", { class: "view view-flat" }, this.drawing as unknown as Node);
    const [[x0, y0], [x1, y1]] = flat.box;
    const w = Math.max(x1 - x0, 1e-6);
    const t = Math.max(y1 - y0, 1e-6);
    const margin = 0.14 * Math.max(w, t);
    this.whole = [x0 - margin, -y1 - margin, w + 2 * margin, t + 2 * margin];
    this.listen();
    this.observer = new ResizeObserver(() => this.show());
    this.observer.observe(this.element);
    this.fit();
    this.select(null);
  }

  select(index: number | null): void {
    this.chosen = index;
    this.relight();
    const box = index === null ? null : this.findings[index]?.box;
    if (box) this.flyTo(box);
    else if (index === null) this.show();
  }

  fit(): void {
    this.frame = [...this.whole];
    this.show();
  }

  lit(): number[] {
    return this.chosen === null ? [] : [...(this.findings[this.chosen]?.entities ?? [])];
  }

  recolour(): void {
    this.relight();
  }

  relabel(): void {
    this.show();
    this.relight();
  }

  dispose(): void {
    this.observer.disconnect();
    if (this.flight !== null) cancelAnimationFrame(this.flight);
  }

  /** What a screen reader says of the drawing. */
  private describe(): string {
    const cut = this.flat.contours.filter((x) => x.hole).length;
    return text.flatViewLabel(this.flat.contours.length - cut, cut, this.flat.bends.length);
  }

  private sheet(): SVGElement {
    let path = "";
    for (const contour of this.flat.contours) path += pathOf({ polyline: contour.points }) + "Z";
    return s("path", { class: "flat-sheet", d: path, "fill-rule": "evenodd" });
  }

  /** One path for each role: an element for every line would be slow on large drawings. */
  private curves(): SVGElement {
    const paths = new Map<string, string[]>();
    for (const entity of this.flat.entities) {
      if (entity.role === "bend") continue;
      const list = paths.get(entity.role) ?? [];
      for (const shape of entity.shapes) list.push(pathOf(shape));
      paths.set(entity.role, list);
    }
    const group = s("g", { class: "flat-curves" });
    for (const [role, list] of paths) group.append(s("path", { class: `flat-${role}`, d: list.join("") }));
    return group;
  }

  private bends(): SVGElement {
    const group = s("g", { class: "flat-bends" });
    for (const bend of this.flat.bends) {
      const [x0, y0, x1, y1] = bend.line;
      const way = bend.direction ?? "unknown";
      group.append(s("path", { class: `flat-bend flat-bend-${way}`, d: pathOf({ line: [x0, y0, x1, y1] }) }));
      const label = s("text", { class: `flat-bend-text flat-bend-${way}`, x: (x0 + x1) / 2, y: -(y0 + y1) / 2 }, text.bendLabel(bend.direction, bend.angle_deg));
      group.append(label);
    }
    return group;
  }

  private relight(): void {
    this.lights.replaceChildren();
    this.marks.replaceChildren();
    this.findings.forEach((finding, i) => {
      const chosen = i === this.chosen;
      let whole = "";
      for (const number of finding.entities) for (const shape of this.shapesOf.get(number) ?? []) whole += pathOf(shape);
      let exact = "";
      for (const [a, b] of finding.lines) exact += pathOf({ line: [a[0], a[1], b[0], b[1]] });
      // Where the fault is a piece of an entity, the piece is lit and the rest of it only hinted at.
      const path = exact || whole;
      const faint = this.chosen !== null && !chosen ? " flat-light-faint" : "";
      const kind = `flat-light flat-light-${finding.level}${chosen ? " flat-light-chosen" : faint}`;
      const pick = (event: Event) => { event.stopPropagation(); this.onPick(i); };
      if (exact && whole && chosen) this.lights.append(s("path", { class: "flat-light flat-light-chosen flat-light-hint", d: whole }));
      if (path) this.lights.append(s("path", { class: kind, d: path, onclick: pick }));
      else if (finding.point) {
        const [x, y] = finding.point;
        this.lights.append(s("path", { class: `${kind} flat-light-spot`, d: `M${round(x)} ${round(-y)}l0.0001 0`, onclick: pick }));
      }
      if (chosen) {
        this.lights.append(this.lights.lastChild!);
        if (finding.span) this.dimension(finding.span);
      }
    });
    this.show();
  }

  private dimension([a, b]: [Point, Point]): void {
    this.marks.append(s("path", { class: "flat-dimension", d: pathOf({ line: [a[0], a[1], b[0], b[1]] }) }));
    const distance = Math.hypot(a[0] - b[0], a[1] - b[1], a[2] - b[2]);
    this.marks.append(s("text", { class: "flat-dimension-text", x: (a[0] + b[0]) / 2, y: -(a[1] + b[1]) / 2 }, length(distance)));
  }

  private flyTo(box: [Point, Point]): void {
    const [low, high] = box;
    const extent = Math.max(high[0] - low[0], high[1] - low[1]);
    const least = Math.max(this.whole[2], this.whole[3]) / 12;
    const side = Math.max(extent * 2.5, least);
    const x = (low[0] + high[0]) / 2;
    const y = -(low[1] + high[1]) / 2;
    const end: [number, number, number, number] = [x - side / 2, y - side / 2, side, side];
    if (this.flight !== null) cancelAnimationFrame(this.flight);
    if (side > Math.max(this.whole[2], this.whole[3])) {
      this.fit();
      return;
    }
    if (matchMedia("(prefers-reduced-motion: reduce)").matches) {
      this.frame = end;
      this.show();
      return;
    }
    const start = [...this.frame];
    const began = performance.now();
    const step = (now: number) => {
      const share = Math.min(1, (now - began) / 300);
      const ease = share * share * (3 - 2 * share);
      this.frame = end.map((x, i) => start[i]! + (x - start[i]!) * ease) as typeof end;
      this.show();
      this.flight = share < 1 ? requestAnimationFrame(step) : null;
    };
    this.flight = requestAnimationFrame(step);
  }

  /** Millimetres on the part for one pixel on the screen. */
  private perPixel(): number {
    const { clientWidth, clientHeight } = this.element;
    return Math.max(this.frame[2] / Math.max(1, clientWidth), this.frame[3] / Math.max(1, clientHeight));
  }

  private show(): void {
    this.drawing.setAttribute("viewBox", this.frame.map(round).join(" "));
    // Text keeps its size on the screen, whatever the zoom.
    const px = this.perPixel();
    this.drawing.style.setProperty("--px", String(px));
    for (const node of this.drawing.querySelectorAll("text")) node.setAttribute("font-size", String(round(13 * px)));
    this.drawSizes(px);
  }

  private drawSizes(px: number): void {
    const [[x0, y0], [x1, y1]] = this.flat.box;
    const off = 16 * px;
    const size = round(13 * px);
    fill(
      this.sizes,
      s("path", { class: "flat-size", d: `M${x0} ${-y0 + off}H${x1}M${x1 + off} ${-y0}V${-y1}` }),
      s("text", { x: (x0 + x1) / 2, y: -y0 + off + 14 * px, "font-size": size }, length(x1 - x0)),
      s("text", { x: x1 + off + 5 * px, y: -(y0 + y1) / 2, "font-size": size, class: "flat-size-side" }, length(y1 - y0)),
      // A 10 mm bar: an inch read as a millimetre is seen at once.
      s("path", { class: "flat-scale", d: `M${x0} ${-y1 - off}h10m0 ${-3 * px}v${6 * px}m-10 0v${-6 * px}` }),
      s("text", { class: "flat-scale-text", x: x0 + 10 + 6 * px, y: -y1 - off, "font-size": size }, length(10)),
    );
  }

  private listen(): void {
    const zoomAt = (factor: number, px: number, py: number) => {
      const [left, top, width, height] = this.frame;
      const limit = this.whole[2] / 5000;
      const scale = Math.max(factor, limit / width);
      this.frame = [px - (px - left) * scale, py - (py - top) * scale, width * scale, height * scale];
      this.show();
    };
    const at = (event: { clientX: number; clientY: number }): [number, number] => {
      const point = new DOMPoint(event.clientX, event.clientY).matrixTransform(this.drawing.getScreenCTM()!.inverse());
      return [point.x, point.y];
    };
    this.drawing.addEventListener("wheel", (event) => {
      event.preventDefault();
      zoomAt(Math.exp(event.deltaY * 0.0015), ...at(event));
    }, { passive: false });
    const held = new Map<number, [number, number]>();
    let moved = 0;
    this.drawing.addEventListener("pointerdown", (event) => {
      held.set(event.pointerId, [event.clientX, event.clientY]);
      moved = 0;
    });
    this.drawing.addEventListener("pointermove", (event) => {
      const before = held.get(event.pointerId);
      if (!before) return;
      moved += Math.hypot(event.clientX - before[0], event.clientY - before[1]);
      if (moved > 4 && !this.drawing.hasPointerCapture(event.pointerId)) this.drawing.setPointerCapture(event.pointerId);
      const others = [...held.entries()].filter(([id]) => id !== event.pointerId);
      if (others.length === 1) {
        const [ox, oy] = others[0]![1];
        const was = Math.hypot(before[0] - ox, before[1] - oy);
        const is = Math.hypot(event.clientX - ox, event.clientY - oy);
        if (was > 0 && is > 0) zoomAt(was / is, ...at({ clientX: (event.clientX + ox) / 2, clientY: (event.clientY + oy) / 2 }));
      } else {
        const px = this.perPixel();
        this.frame[0] -= (event.clientX - before[0]) * px;
        this.frame[1] -= (event.clientY - before[1]) * px;
        this.show();
      }
      held.set(event.pointerId, [event.clientX, event.clientY]);
    });
    for (const end of ["pointerup", "pointercancel"] as const) this.drawing.addEventListener(end, (event) => held.delete(event.pointerId));
    this.drawing.addEventListener("click", () => { if (moved < 4) this.onPick(null); });
    this.drawing.addEventListener("keydown", (event) => {
      const step = 0.1;
      const [left, top, width, height] = this.frame;
      if (event.key === "ArrowLeft") this.frame[0] = left - width * step;
      else if (event.key === "ArrowRight") this.frame[0] = left + width * step;
      else if (event.key === "ArrowUp") this.frame[1] = top - height * step;
      else if (event.key === "ArrowDown") this.frame[1] = top + height * step;
      else if (event.key === "+" || event.key === "=") return zoomAt(0.8, left + width / 2, top + height / 2);
      else if (event.key === "-") return zoomAt(1.25, left + width / 2, top + height / 2);
      else if (event.key === "0") return this.fit();
      else return undefined;
      event.preventDefault();
      return this.show();
    });
  }
}
