// What was picked and measured, in words beside the view.
import { fill, h } from "../dom";
import type { Point } from "../report";
import { text } from "../strings";
import { digits, length } from "../units";
import { type Measured, type Picked, apart, measure } from "./measure";

const m = text.measuring;
/** What rounding leaves of nothing is nothing. */
const clear = (mm: number) => (Math.abs(mm) < 1e-4 ? 0 : mm);

export interface KeptMeasuring { on: boolean; picked: Picked[] }

/** Holds up to two picked things. A third one starts anew. */
export class Measuring {
  readonly element = h("div", { class: "view-measured", role: "status", hidden: true });
  picked: Picked[] = [];
  on = false;

  constructor(private readonly flat: boolean, private readonly changed: () => void) {}

  get measured(): Measured | null {
    const [a, b] = this.picked;
    return a && b ? measure(a, b) : null;
  }

  switch(on: boolean): void {
    this.on = on;
    this.element.hidden = !on;
    this.picked = [];
    this.update();
  }

  pick(thing: Picked): void {
    this.picked = this.picked.length === 1 ? [...this.picked, thing] : [thing];
    this.update();
  }

  /** Forget what was picked; false when nothing was. */
  clear(): boolean {
    const had = this.picked.length > 0;
    this.picked = [];
    this.update();
    return had;
  }

  keep(): KeptMeasuring {
    return { on: this.on, picked: this.picked };
  }

  restore({ on, picked }: KeptMeasuring): void {
    this.switch(on);
    this.picked = picked;
    this.update();
  }

  update(): void {
    fill(this.element, ...this.words().map((x) => h("p", {}, x)), this.picked.length ? h("p", { class: "quiet" }, m.clear) : null);
    this.changed();
  }

  private words(): string[] {
    const [a, b] = this.picked;
    if (!a) return [this.flat ? m.startFlat : m.start];
    const lines = [this.say(a)];
    const found = this.measured;
    if (!b || !found) return [...lines, m.second];
    lines.push(this.say(b), `${a.kind === "hole" && b.kind === "hole" ? m.centres : m.distance}: ${length(found.distance_mm)}`);
    const along = found.along_mm.map((x) => length(clear(x)));
    if (found.distance_mm > 0) lines.push(`x ${along[0]}, y ${along[1]}${this.flat ? "" : `, z ${along[2]}`}`);
    if (found.angle_deg !== null) lines.push(`${m.angle}: ${digits(found.angle_deg, 1)}°`);
    return lines;
  }

  private say(p: Picked): string {
    const place = (at: Point) => at.slice(0, this.flat ? 2 : 3).map((x) => length(clear(x))).join(", ");
    if (p.kind === "hole") return m.hole(length(p.diameter_mm), p.depth_mm === null ? null : length(p.depth_mm));
    if (p.kind === "edge") return m.edge(length(apart(p.a, p.b)));
    return p.corner ? m.corner(place(p.at)) : m.point(place(p.at));
  }
}
