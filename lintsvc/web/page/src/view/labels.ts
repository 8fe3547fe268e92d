// Words at places of the 3D view. They keep their size, and give way to each other: none covers another.
import { type Box3, type Camera, Vector3 } from "three";
import { h, s } from "../dom";

/** Which gives way: what comes later goes where there is room left, or, if it may, is not shown. */
const ORDER = ["dimension", "measured", "size", "scale", "bend-up", "bend-down", "bend-flat", "mark"];
/** What is left out where there is no room for it. */
const MAY_HIDE = new Set(["mark"]);
/** Ways to move, as (right, down), the nearest first; and how far, in heights of a line. */
const WAYS = [[0, -1], [0, 1], [1, 0], [-1, 0], [0.8, -0.8], [-0.8, -0.8], [0.8, 0.8], [-0.8, 0.8]] as const;
const STEPS = [1.1, 1.8, 2.6, 3.6, 5, 7];
/** Room between two, and to the rim, in pixels. */
const GAP = 2;
/** Words would cover a part that is drawn smaller than this, in pixels. */
const SMALL = 110;
/** What moved farther than this has a line to its place, in pixels. */
const FAR = 16;

type Box = [number, number, number, number];
interface Label { at: Vector3; make: () => string; kind: string; node: HTMLElement; line: SVGLineElement; words: HTMLElement; size: [number, number] | null }

export class Labels {
  readonly element: HTMLElement;
  private readonly lines = s("svg", { class: "view-leaders" });
  private all: Label[] = [];

  constructor() {
    this.element = h("div", { class: "view-labels", "aria-hidden": "true" }, this.lines);
  }

  add(kind: string, at: Vector3, make: () => string, sign: Node | null = null): HTMLElement {
    const words = h("span", {}, make());
    const node = h("span", { class: `view-label view-label-${kind}` }, sign, words);
    const line = s("line", { class: `view-leader view-leader-${kind}` });
    this.element.append(node);
    this.lines.append(line);
    this.all.push({ at, make, kind, node, line, words, size: null });
    this.all.sort((a, b) => ORDER.indexOf(a.kind) - ORDER.indexOf(b.kind));
    return node;
  }

  remove(kind: string): void {
    for (const { node, line } of this.all.filter((x) => x.kind === kind)) {
      node.remove();
      line.remove();
    }
    this.all = this.all.filter((x) => x.kind !== kind);
  }

  relabel(): void {
    for (const label of this.all) {
      label.words.textContent = label.make();
      label.size = null;
    }
  }

  /** Put all of them where they belong now; beside `part`, where that is small. */
  place(camera: Camera, width: number, height: number, part: Box3): void {
    // Sizes are all read before anything is moved: in between, each would be laid out anew.
    for (const label of this.all) label.size ??= [label.node.offsetWidth, label.node.offsetHeight];
    const small = drawnBox(part, camera, width, height);
    const p = new Vector3();
    const taken: Box[] = small[2] - small[0] < SMALL && small[3] - small[1] < SMALL ? [small] : [];
    for (const label of this.all) {
      p.copy(label.at).project(camera);
      const x = ((p.x + 1) / 2) * width;
      const y = ((1 - p.y) / 2) * height;
      // What lies beyond the view is not drawn to its rim.
      const beyond = x < 0 || x > width || y < 0 || y > height;
      const found = beyond ? null : roomFor(x, y, label.size!, taken, width, height);
      const hidden = found === null && (beyond || MAY_HIDE.has(label.kind));
      const [left, top] = found ?? [x, y];
      label.node.style.visibility = hidden ? "hidden" : "";
      label.line.style.visibility = hidden || Math.hypot(left - x, top - y) < FAR ? "hidden" : "";
      if (hidden) continue;
      taken.push(boxOf(left, top, label.size!));
      label.node.style.transform = `translate(-50%, -50%) translate(${left}px, ${top}px)`;
      for (const [name, value] of [["x1", x], ["y1", y], ["x2", left], ["y2", top]] as const) label.line.setAttribute(name, String(value));
    }
  }
}

/** Left, top, right, bottom of what is drawn of a box. */
function drawnBox({ min, max }: Box3, camera: Camera, width: number, height: number): Box {
  const box: Box = [Infinity, Infinity, -Infinity, -Infinity];
  for (const x of [min.x, max.x]) for (const y of [min.y, max.y]) for (const z of [min.z, max.z]) {
    const p = new Vector3(x, y, z).project(camera);
    const [left, top] = [((p.x + 1) / 2) * width, ((1 - p.y) / 2) * height];
    box[0] = Math.min(box[0], left);
    box[1] = Math.min(box[1], top);
    box[2] = Math.max(box[2], left);
    box[3] = Math.max(box[3], top);
  }
  return box;
}

/** The middle of the nearest free place, within the view; null where there is none. */
export function roomFor(x: number, y: number, size: readonly [number, number], taken: readonly Box[], width: number, height: number): [number, number] | null {
  const [w, t] = size;
  const clamp = (value: number, half: number, most: number) => Math.min(Math.max(value, half + GAP), Math.max(half + GAP, most - half - GAP));
  for (const step of [0, ...STEPS]) {
    for (const [right, down] of step ? WAYS : [[0, 0] as const]) {
      // Sideways, a label moves by its own width and no less.
      const left = clamp(x + right * (step * t + (right ? w / 2 : 0)), w / 2, width);
      const top = clamp(y + down * step * t, t / 2, height);
      const box = boxOf(left, top, size);
      if (!taken.some((other) => covers(box, other))) return [left, top];
    }
  }
  return null;
}

function boxOf(x: number, y: number, [w, t]: readonly [number, number]): Box {
  return [x - w / 2 - GAP / 2, y - t / 2 - GAP / 2, x + w / 2 + GAP / 2, y + t / 2 + GAP / 2];
}

const covers = (a: Box, b: Box) => a[0] < b[2] && b[0] < a[2] && a[1] < b[3] && b[1] < a[3];
