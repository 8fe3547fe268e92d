// What is drawn over a body: the chosen finding's dimension, and what was picked for measuring.
import { length } from "../units";
import { colours } from "./colours";
import { type Marks, middleOf, vector } from "./dimension";
import type { Measuring } from "./measure_panel";
import type { PlacedFinding } from "./placed";

/** Lines, and the measured distance: with its ball where faces stand on both ends, between arrows as drawn for short ones. */
export function markFinding(marks: Marks, finding: PlacedFinding | null): void {
  marks.clear();
  if (!finding) return;
  const { chosen: colour, ground } = colours();
  marks.lines(finding.lines, colour);
  if (finding.span) {
    const [a, b] = finding.span;
    const distance = Math.hypot(a[0] - b[0], a[1] - b[1], a[2] - b[2]);
    // Walls and gaps are measured by a ball that touches both sides.
    if (finding.faces.length) marks.ball(middleOf(a, b), distance / 2, colour, ground);
    marks.lines([[a, b]], colour);
    const along = vector(b).sub(vector(a));
    marks.arrow(vector(b), along, colour, ground);
    marks.arrow(vector(a), along.clone().negate(), colour, ground);
    marks.label(middleOf(a, b), () => length(distance));
  } else if (finding.point) {
    marks.dot(vector(finding.point), colour);
  }
}

export function markMeasured(marks: Marks, measuring: Measuring): void {
  marks.clear();
  const colour = colours().accent;
  for (const thing of measuring.picked) {
    marks.dot(vector(thing.at), colour);
    if (thing.kind !== "point") marks.lines([[thing.a, thing.b]], colour);
    if (thing.kind === "hole") marks.label(vector(thing.b), () => `⌀ ${length(thing.diameter_mm)}`);
  }
  const found = measuring.measured;
  if (!found) return;
  marks.lines([[found.from, found.to]], colour);
  marks.label(middleOf(found.from, found.to), () => length(found.distance_mm));
}
