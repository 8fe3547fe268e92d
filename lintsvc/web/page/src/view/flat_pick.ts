// What of a flat is nearest to a place: for measuring a corner, hole or line; else a finding.
import type { Point } from "../report";
import { type FlatGeometry, type FlatShape, offLine, offShape } from "./flat_shapes";
import { type Picked, apart, nearestOnLine } from "./measure";
import type { PlacedFinding } from "./placed";

/** How near counts as on it, in pixels; a fingertip is less exact. */
export const REACH = 12;

const point = (x: number, y: number): Point => [x, y, 0];

export function pickFlat(flat: FlatGeometry, x: number, y: number, perPixel: number): Picked {
  const at = point(x, y);
  const reach = REACH * perPixel;
  let best: Picked = { kind: "point", at, corner: false };
  let bestOff = reach;
  // What is harder to hit wins where two are as near: a corner over a hole, a hole over a line.
  const take = (thing: Picked, off: number, favour: number) => {
    if (off < reach && off - favour * reach < bestOff) [best, bestOff] = [thing, off - favour * reach];
  };
  for (const hole of flat.holes) {
    const [cx, cy] = hole.centre;
    const centre = point(cx, cy);
    const toCentre = apart(at, centre);
    const thing: Picked = { kind: "hole", at: centre, a: centre, b: centre, diameter_mm: hole.diameter_mm, depth_mm: null };
    // Anywhere within a hole means the hole: nothing else is there.
    if (toCentre < hole.diameter_mm / 2) return thing;
    take(thing, toCentre - hole.diameter_mm / 2, 0.4);
  }
  for (const entity of flat.entities) {
    for (const shape of entity.shapes) for (const [a, b] of pieces(shape)) {
      const near = nearestOnLine(at, a, b);
      take({ kind: "edge", at: near, a, b }, apart(at, near), 0);
      if (!corners(shape)) continue;
      for (const end of [a, b]) take({ kind: "point", at: end, corner: true }, apart(at, end), 0.5);
    }
  }
  return best;
}

/** How far a place is from what a finding is about, mm. */
export function offFinding({ lines, entities, point: at }: PlacedFinding, shapesOf: Map<number, FlatShape[]>, x: number, y: number): number {
  if (lines.length) return Math.min(...lines.map(([a, b]) => offLine(x, y, a[0], a[1], b[0], b[1])));
  const curves = entities.flatMap((n) => shapesOf.get(n) ?? []);
  if (curves.length) return Math.min(...curves.map((shape) => offShape(shape, x, y)));
  return at ? Math.hypot(x - at[0], y - at[1]) : Infinity;
}

/** The finding that lies nearest to a place, within so many mm. */
export function findingNear(findings: PlacedFinding[], shapesOf: Map<number, FlatShape[]>, x: number, y: number, within: number): number | null {
  let best = within;
  let found: number | null = null;
  findings.forEach((finding, i) => {
    const off = offFinding(finding, shapesOf, x, y);
    if (off < best) [best, found] = [off, i];
  });
  return found;
}

const corners = (shape: FlatShape) => "line" in shape || ("polyline" in shape && shape.polyline.length <= 64);

function* pieces(shape: FlatShape): Generator<[Point, Point]> {
  if ("line" in shape) {
    const [x0, y0, x1, y1] = shape.line;
    yield [point(x0, y0), point(x1, y1)];
  } else if ("polyline" in shape) {
    const p = shape.polyline;
    for (let i = 0; i + 3 < p.length; i += 2) yield [point(p[i]!, p[i + 1]!), point(p[i + 2]!, p[i + 3]!)];
  }
}
