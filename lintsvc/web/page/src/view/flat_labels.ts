// Words at the bends of a flat: they keep their size on the screen and give way to each other, and on a strip so narrow
// that they would cover it they stand beside it.
import { s } from "../dom";
import { roomFor } from "./labels";

/** Size of the letters, their mean width and the height of a line, in pixels. */
const FONT = 13;
const [WIDE, HIGH] = [0.58 * FONT, 1.2 * FONT];
/** A part drawn lower than this would be covered, in pixels. */
const LOW = 3 * HIGH;
/** What moved farther than this has a line to its place, in pixels. */
const FAR = 1.6 * HIGH;

export type ScreenBox = [left: number, top: number, right: number, bottom: number];
interface Label { node: SVGTextElement; line: SVGPathElement; x: number; y: number; letters: number }

/** Where a place of the drawing is on the screen, in pixels: its y grows downwards already. */
export interface Screen { left: number; top: number; px: number; width: number; height: number }

/** The room that words take up. `start`: they begin there, and are not in the middle of it. */
export function wordsBox(x: number, y: number, words: string, start = false): ScreenBox {
  const half = (words.length * WIDE) / 2;
  const middle = start ? x + half : x;
  return [middle - half, y - HIGH / 2, middle + half, y + HIGH / 2];
}

export class FlatLabels {
  readonly element = s("g", { class: "flat-bend-labels" });
  private readonly all: Label[] = [];

  /** `x`, `y`: the place on the drawing. */
  add(kind: string, x: number, y: number, words: string): void {
    const line = s("path", { class: "flat-leader" });
    const node = s("text", { class: `flat-bend-text flat-bend-${kind}` }, words);
    this.all.push({ node, line, x, y, letters: words.length });
    this.element.append(line, node);
  }

  /** Put all of them where there is room. `part`, and what is `taken`, on the screen. */
  place({ left, top, px, width, height }: Screen, part: ScreenBox, taken: ScreenBox[]): void {
    const full = part[3] - part[1] < LOW || part[2] - part[0] < LOW ? [...taken, part] : [...taken];
    for (const { node, line, x, y, letters } of this.all) {
      const at = [(x - left) / px, (y - top) / px] as const;
      const seen = at[0] >= 0 && at[0] <= width && at[1] >= 0 && at[1] <= height;
      const size = [letters * WIDE, HIGH] as const;
      const room = seen ? roomFor(at[0], at[1] - 0.8 * FONT, size, full, width, height) : null;
      node.style.visibility = room ? "" : "hidden";
      const far = room !== null && Math.hypot(room[0] - at[0], room[1] - at[1]) > FAR;
      line.style.visibility = far ? "" : "hidden";
      if (!room) continue;
      full.push([room[0] - size[0] / 2, room[1] - HIGH / 2, room[0] + size[0] / 2, room[1] + HIGH / 2]);
      const [wx, wy] = [left + room[0] * px, top + room[1] * px];
      node.setAttribute("x", String(wx));
      node.setAttribute("y", String(wy));
      if (far) line.setAttribute("d", `M${x} ${y}L${wx} ${wy}`);
    }
  }
}
