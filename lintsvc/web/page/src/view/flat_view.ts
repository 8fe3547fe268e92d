// A flat part drawn to scale: contours, kerf, bends with direction, engraving; findings lit; pan and zoom; measured.
import { fill, h, s } from "../dom";
import type { Point } from "../report";
import { text } from "../strings";
import { length, scaleMm, size } from "../units";
import { besideShort } from "./beside_short";
import { listenToFlat } from "./flat_input";
import { FlatLabels, type ScreenBox, wordsBox } from "./flat_labels";
import { REACH, findingNear, pickFlat } from "./flat_pick";
import { type FlatGeometry, type FlatShape, pathOf, round } from "./flat_shapes";
import { apart, nearestOnLine } from "./measure";
import { type KeptMeasuring, Measuring } from "./measure_panel";
import type { Feature, PlacedFinding } from "./placed";
import { cross } from "./tool_buttons";

/** The most that a letter of the sizes takes on average, in pixels. */
const LETTER = 9.2;

/** `frame`: null for all of it, however large the view is. */
export interface KeptFlat { frame: [number, number, number, number] | null; measuring: KeptMeasuring }

export class FlatView {
  readonly element: HTMLElement;
  readonly drawing: SVGSVGElement;
  readonly measuring: Measuring;
  private readonly lights = s("g", { class: "flat-lights" });
  private readonly marks = s("g", { class: "flat-marks" });
  private readonly features = s("g", { class: "flat-features" });
  private readonly measured = s("g", { class: "flat-measured" });
  private readonly kerf = s("path", { class: "flat-kerf" });
  private readonly sizes = s("g", { class: "flat-sizes" });
  private readonly bendLabels = new FlatLabels();
  private readonly observer: ResizeObserver;
  /** Left, top, width, height of what is shown, in mm with y downwards. */
  frame: [number, number, number, number] = [0, 0, 1, 1];
  private litFeatures: Feature[] | null = null;
  private whole: [number, number, number, number] = [0, 0, 1, 1];
  private chosen: number | null = null;
  /** Lines across the ends of the dimension, which keep their length on the screen. */
  private ticks: { node: SVGElement; words: SVGElement; ends: [Point, Point] } | null = null;
  private flight: number | null = null;
  private readonly shapesOf = new Map<number, FlatShape[]>();

  constructor(
    readonly flat: FlatGeometry,
    private readonly findings: PlacedFinding[],
    private readonly onPick: (index: number | null) => void,
  ) {
    for (const entity of flat.entities) this.shapesOf.set(entity.number, entity.shapes);
    this.drawing = s("svg", { class: "flat-drawing", role: "img", tabindex: 0, "aria-label": this.describe() });
    this.drawing.append(this.sheet(), this.kerf, this.curves(), this.bends(), this.features, this.lights, this.sizes, this.marks, this.measured);
    this.measuring = new Measuring(true, () => this.drawMeasured());
    this.element = h("div", { class: "view view-flat" }, this.drawing as unknown as Node, this.measuring.element, cross());
    listenToFlat(this);
    this.observer = new ResizeObserver(() => {
      // As long as all of it is looked at, all of it stays in view.
      if (this.showsWhole()) this.fit();
      else this.show();
    });
    this.observer.observe(this.element);
    this.fit();
    this.select(null);
  }

  select(index: number | null): void {
    this.chosen = index;
    if (index !== null) this.light(null);
    this.relight();
    const finding = index === null ? null : this.findings[index];
    if (finding?.box) this.flyTo(this.withBend(finding.box));
    else if (index === null) this.show();
  }

  fit(): void {
    this.whole = this.wholeFrame();
    this.frame = [...this.whole];
    this.show();
  }

  private showsWhole(): boolean {
    return this.frame.every((x, i) => x === this.whole[i]);
  }

  /** All of it with its sizes: they keep their size on the screen, so that a small view needs more room for them. */
  private wholeFrame(): [number, number, number, number] {
    const { clientWidth, clientHeight } = this.element;
    const [wide, high] = [Math.max(clientWidth, 200), Math.max(clientHeight, 200)];
    const { box: [[x0, y0], [x1, y1]], part_box: [[left, low], [right, top]] } = this.flat;
    const bar = scaleMm(Math.max(right - left, top - low));
    const side = LETTER * length(top - low).length + 24;
    const barEnd = Math.max(x1, left + bar);
    const w = Math.max(barEnd - x0, 1e-6);
    const t = Math.max(y1 - y0, 1e-6);
    // Pixels around it, to the left and above; and on both sides.
    const [a, b] = [16, 30];
    const across = a + Math.max(side, left + bar > x1 ? LETTER * length(bar).length + 12 : 0);
    const perPixel = Math.max(w / (wide - across), t / (high - b - 46), (1.1 * Math.max(w, t)) / Math.max(wide, high));
    const [spareX, spareY] = [wide * perPixel - w - across * perPixel, high * perPixel - t - (b + 46) * perPixel];
    return [x0 - a * perPixel - spareX / 2, -y1 - b * perPixel - spareY / 2, wide * perPixel, high * perPixel];
  }

  keep(): KeptFlat {
    return { frame: this.showsWhole() ? null : [...this.frame], measuring: this.measuring.keep() };
  }

  restore({ frame, measuring }: KeptFlat): void {
    this.stopFlight();
    this.frame = [...(frame ?? this.whole)];
    this.measure(measuring.on);
    this.measuring.restore(measuring);
    this.show();
  }

  /** Light things of a list: entities, holes by their entities, bends by their lines. */
  light(features: Feature[] | null): void {
    this.litFeatures = features;
    let path = "";
    let gone = "";
    for (const feature of features ?? []) {
      for (const number of feature.entities ?? []) for (const shape of this.shapesOf.get(number) ?? []) path += pathOf(shape);
      for (const [a, b] of feature.lines ?? []) gone += pathOf({ line: [a[0], a[1], b[0], b[1]] });
      for (const number of feature.bends ?? []) path += pathOf({ line: this.flat.bends[number]!.line });
    }
    fill(this.features, gone ? s("path", { class: "flat-gone", d: gone }) : null, path ? s("path", { class: "flat-feature", d: path }) : null);
  }

  /** Show how wide the cut is; null hides it. */
  showKerf(width_mm: number | null): void {
    let path = "";
    if (width_mm !== null) for (const entity of this.flat.entities) if (entity.role === "cut") for (const shape of entity.shapes) path += pathOf(shape);
    this.kerf.setAttribute("d", path);
    this.kerf.style.strokeWidth = String(width_mm ?? 0);
  }

  /** Millimetres, y upwards, of a place on the screen. */
  at(event: { clientX: number; clientY: number }): [number, number] {
    const point = new DOMPoint(event.clientX, event.clientY).matrixTransform(this.drawing.getScreenCTM()!.inverse());
    return [point.x, -point.y];
  }

  /** A place was chosen that no finding lies on; without one, the middle of the view. */
  pick(event?: { clientX: number; clientY: number }): void {
    const [left, top, width, height] = this.frame;
    const [x, y] = event ? this.at(event) : [left + width / 2, -(top + height / 2)];
    if (this.measuring.on) this.measuring.pick(pickFlat(this.flat, x, y, this.perPixel()));
    else this.onPick(event ? null : findingNear(this.findings, this.shapesOf, x, y, REACH * this.perPixel()));
  }

  measure(on: boolean): void {
    this.measuring.switch(on);
    this.element.classList.toggle("measuring", on);
  }

  lit(): number[] {
    if (this.litFeatures) return this.litFeatures.flatMap((x) => x.entities ?? []);
    return this.chosen === null ? [] : [...(this.findings[this.chosen]?.entities ?? [])];
  }

  recolour(): void {
    this.relight();
  }

  relabel(): void {
    this.drawing.setAttribute("aria-label", this.describe());
    this.measuring.update();
    this.show();
    this.relight();
  }

  dispose(): void {
    this.observer.disconnect();
    this.stopFlight();
  }

  /** The narrowest that may be looked at, mm: beyond it nothing is drawn exactly. */
  get narrowest(): number {
    return this.whole[2] / 5000;
  }

  /** What a screen reader says of the drawing. */
  private describe(): string {
    const cut = this.flat.contours.filter((x) => x.hole).length;
    const [[x0, y0], [x1, y1]] = this.flat.box;
    const bends = this.flat.bends.map((x, i) => `${i + 1} ${text.bendLabel(x.direction, x.angle_deg)}`).join(", ");
    return text.flatViewLabel(size([x1 - x0, y1 - y0]), this.flat.contours.length - cut, cut, this.flat.bends.length, bends);
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
      const half = (bend.half_mm ?? 0) / (Math.hypot(x1 - x0, y1 - y0) || 1);
      const [ox, oy] = [(y0 - y1) * half, (x1 - x0) * half];
      const zone = pathOf({ polyline: [x0 - ox, y0 - oy, x1 - ox, y1 - oy, x1 + ox, y1 + oy, x0 + ox, y0 + oy] });
      if (half) group.append(s("path", { class: `flat-zone flat-zone-${way}`, d: `${zone}Z` }));
      group.append(s("path", { class: `flat-bend flat-bend-${way}`, d: pathOf({ line: [x0, y0, x1, y1] }) }));
      this.bendLabels.add(way, (x0 + x1) / 2, -(y0 + y1) / 2, text.bendLabel(bend.direction, bend.angle_deg));
    }
    group.append(this.bendLabels.element);
    return group;
  }

  private relight(): void {
    this.lights.replaceChildren();
    this.marks.replaceChildren();
    this.ticks = null;
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
      const pick = (event: Event) => {
        if (this.measuring.on) return;
        event.stopPropagation();
        this.onPick(i);
      };
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
    const distance = apart(a, b);
    // A short line across each end: it may end where nothing is drawn.
    this.ticks = { node: s("path", { class: "flat-dimension" }), words: s("text", { class: "flat-dimension-text" }, length(distance)), ends: [a, b] };
    this.marks.append(this.ticks.node, this.ticks.words);
  }

  private drawMeasured(): void {
    const marks: Node[] = [];
    const spot = ([x, y]: Point) => s("path", { class: "flat-measured-spot", d: `M${round(x)} ${round(-y)}l0.0001 0` });
    const [one, two] = this.measuring.picked;
    for (const thing of this.measuring.picked) {
      if (thing.kind === "edge") marks.push(s("path", { class: "flat-measured-line", d: pathOf({ line: [thing.a[0], thing.a[1], thing.b[0], thing.b[1]] }) }));
      if (thing.kind === "hole") {
        const [x, y] = thing.a;
        marks.push(s("path", { class: "flat-measured-line", d: pathOf({ circle: [x, y, thing.diameter_mm / 2] }) }));
        // On the side away from the other thing, where the distance is written.
        const other = thing === one ? two : one;
        const side = other && other.at[1] > y ? 1 : -1;
        marks.push(s("text", { class: "flat-measured-text", x, y: -y + side * (thing.diameter_mm / 2 + 12 * this.perPixel()) }, `⌀ ${length(thing.diameter_mm)}`));
      }
      marks.push(spot(thing.at));
    }
    const found = this.measuring.measured;
    if (found) {
      const { from, to } = found;
      marks.push(s("path", { class: "flat-measured-line", d: pathOf({ line: [from[0], from[1], to[0], to[1]] }) }), spot(from), spot(to));
      marks.push(s("text", { class: "flat-measured-text", x: (from[0] + to[0]) / 2, y: -(from[1] + to[1]) / 2 }, length(found.distance_mm)));
    }
    fill(this.measured, ...marks);
    this.show();
  }

  /** A box with the bend line beside it, where there is one: a distance to it ends at its zone, which is not drawn. */
  private withBend([low, high]: [Point, Point]): [Point, Point] {
    const middle: Point = [(low[0] + high[0]) / 2, (low[1] + high[1]) / 2, 0];
    const near = this.flat.bends.map(({ line: [x0, y0, x1, y1] }) => nearestOnLine(middle, [x0, y0, 0], [x1, y1, 0]));
    const beside = near.filter((x) => apart(x, middle) < 1.5 * Math.hypot(high[0] - low[0], high[1] - low[1]));
    const all = [low, high, ...beside];
    const ends = (pick: (...x: number[]) => number): Point => [pick(...all.map((x) => x[0])), pick(...all.map((x) => x[1])), 0];
    return [ends(Math.min), ends(Math.max)];
  }

  private stopFlight(): void {
    if (this.flight !== null) cancelAnimationFrame(this.flight);
    this.flight = null;
  }

  private flyTo(box: [Point, Point]): void {
    const [low, high] = box;
    const extent = Math.max(high[0] - low[0], high[1] - low[1]);
    const least = Math.max(this.whole[2], this.whole[3]) / 12;
    const side = Math.max(extent * 2.2, least);
    const x = (low[0] + high[0]) / 2;
    const y = -(low[1] + high[1]) / 2;
    const end: [number, number, number, number] = [x - side / 2, y - side / 2, side, side];
    this.stopFlight();
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
  perPixel(): number {
    const { clientWidth, clientHeight } = this.element;
    return Math.max(this.frame[2] / Math.max(1, clientWidth), this.frame[3] / Math.max(1, clientHeight));
  }

  show(): void {
    this.drawing.setAttribute("viewBox", this.frame.map(round).join(" "));
    // Text keeps its size on the screen, whatever the zoom.
    const px = this.perPixel();
    this.drawing.style.setProperty("--px", String(px));
    for (const node of this.drawing.querySelectorAll("text")) node.setAttribute("font-size", String(round(13 * px)));
    if (this.ticks) {
      const { node, words, ends } = this.ticks;
      node.setAttribute("d", ticksOf(ends, 7 * px));
      const [x, y] = besideShort(ends, px, [this.whole[0] + this.whole[2] / 2, -this.whole[1] - this.whole[3] / 2]);
      words.setAttribute("x", String(x));
      words.setAttribute("y", String(-y));
    }
    this.drawSizes(px);
  }

  /** The words at the bends, around the part's sizes and its scale. */
  private placeBendLabels(px: number, bar: number, off: number): void {
    const [[x0, y0], [x1, y1]] = this.flat.part_box;
    const { clientWidth: width, clientHeight: height } = this.element;
    // What is looked at stands in the middle of the view.
    const left = this.frame[0] - (width * px - this.frame[2]) / 2;
    const top = this.frame[1] - (height * px - this.frame[3]) / 2;
    const [xs, ys] = [(x: number) => (x - left) / px, (y: number) => (y - top) / px];
    const scale = ys(-y1 - off);
    const taken = [
      wordsBox(xs((x0 + x1) / 2), ys(-y0 + off) + 14, length(x1 - x0)),
      wordsBox(xs(x1 + off) + 5, ys(-(y0 + y1) / 2), length(y1 - y0), true),
      wordsBox(xs(x0 + bar) + 6, scale, length(bar), true),
      [xs(x0), scale - 3, xs(x0 + bar), scale + 3] as ScreenBox,
      [xs(x0), ys(-y0 + off) - 3, xs(x1), ys(-y0 + off) + 3] as ScreenBox,
    ];
    this.bendLabels.place({ left, top, px, width, height }, [xs(x0), ys(-y1), xs(x1), ys(-y0)], taken);
  }

  private drawSizes(px: number): void {
    const [[x0, y0], [x1, y1]] = this.flat.part_box;
    const off = 16 * px;
    const size = round(13 * px);
    const bar = scaleMm(Math.max(x1 - x0, y1 - y0));
    this.placeBendLabels(px, bar, off);
    fill(
      this.sizes,
      s("path", { class: "flat-size", d: `M${x0} ${-y0 + off}H${x1}M${x1 + off} ${-y0}V${-y1}` }),
      s("text", { x: (x0 + x1) / 2, y: -y0 + off + 14 * px, "font-size": size }, length(x1 - x0)),
      s("text", { x: x1 + off + 5 * px, y: -(y0 + y1) / 2, "font-size": size, class: "flat-size-side" }, length(y1 - y0)),
      // A bar of 10 mm, longer beside a large part: an inch read as a millimetre is seen at once.
      s("path", { class: "flat-scale", d: `M${x0} ${-y1 - off}h${bar}m0 ${-3 * px}v${6 * px}m${-bar} 0v${-6 * px}` }),
      s("text", { class: "flat-scale-text", x: x0 + bar + 6 * px, y: -y1 - off, "font-size": size }, length(bar)),
    );
  }
}

/** Short lines across both ends of a line. */
function ticksOf([a, b]: [Point, Point], half: number): string {
  const long = apart(a, b) || 1;
  const [x, y] = [((a[1] - b[1]) / long) * half, ((b[0] - a[0]) / long) * half];
  return [a, b].map((end) => pathOf({ line: [end[0] - x, end[1] - y, end[0] + x, end[1] + y] })).join("");
}
