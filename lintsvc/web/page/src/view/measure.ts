// Measuring between two things that were picked: points, straight edges, round holes. Lengths in mm; a flat has z = 0.
import type { Point } from "../report";

export type Picked =
  | { kind: "point"; at: Point; corner: boolean }
  | { kind: "edge"; at: Point; a: Point; b: Point }
  /** `a`, `b`: ends of the axis, the same point in a flat. */
  | { kind: "hole"; at: Point; a: Point; b: Point; diameter_mm: number; depth_mm: number | null };

export interface Measured {
  from: Point;
  to: Point;
  distance_mm: number;
  /** Between two lines that are not parallel, 0 to 90. */
  angle_deg: number | null;
  /** Along x, y, z. */
  along_mm: Point;
}

const minus = (a: Point, b: Point): Point => [a[0] - b[0], a[1] - b[1], a[2] - b[2]];
const dot = (a: Point, b: Point): number => a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
const plus = (a: Point, b: Point, by: number): Point => [a[0] + b[0] * by, a[1] + b[1] * by, a[2] + b[2] * by];
export const apart = (a: Point, b: Point): number => Math.hypot(a[0] - b[0], a[1] - b[1], a[2] - b[2]);

/** Lines within a twentieth of a degree are parallel. */
const PARALLEL = 1 - Math.cos((0.05 * Math.PI) / 180);

/** The point of a straight piece that is nearest to p. */
export function nearestOnLine(p: Point, a: Point, b: Point): Point {
  const way = minus(b, a);
  const square = dot(way, way);
  if (square === 0) return a;
  return plus(a, way, Math.min(1, Math.max(0, dot(minus(p, a), way) / square)));
}

/** Distance between two picked things: between lines the shortest, between holes from axis to axis. */
export function measure(p: Picked, q: Picked): Measured {
  const [from, to] = ends(p, q);
  const along = minus(to, from);
  return { from, to, distance_mm: apart(from, to), angle_deg: angle(p, q), along_mm: along.map(Math.abs) as Point };
}

function ends(p: Picked, q: Picked): [Point, Point] {
  const first = line(p);
  const second = line(q);
  if (first && second) return betweenLines(first, second, p.kind === "hole", q.kind === "hole", p.at);
  if (first) return [onto(q.at, first, p.kind === "hole"), q.at];
  if (second) return [p.at, onto(p.at, second, q.kind === "hole")];
  return [p.at, q.at];
}

/** The straight piece that something is; null for a point, and for a hole in a flat. */
function line(p: Picked): [Point, Point] | null {
  if (p.kind === "point" || apart(p.a, p.b) < 1e-9) return null;
  return [p.a, p.b];
}

/** An axis goes on beyond its ends, an edge does not. */
function onto(p: Point, [a, b]: [Point, Point], endless: boolean): Point {
  if (!endless) return nearestOnLine(p, a, b);
  const way = minus(b, a);
  return plus(a, way, dot(minus(p, a), way) / dot(way, way));
}

function betweenLines(one: [Point, Point], other: [Point, Point], endless: boolean, otherEndless: boolean, at: Point): [Point, Point] {
  const u = minus(one[1], one[0]);
  const v = minus(other[1], other[0]);
  const w = minus(one[0], other[0]);
  const uu = dot(u, u);
  const uv = dot(u, v);
  const vv = dot(v, v);
  const cross = uu * vv - uv * uv;
  if (cross <= 2 * PARALLEL * uu * vv) {
    // Side by side: across from where the first was picked, as far as both reach.
    const start = onto(at, one, endless);
    const end = onto(start, other, otherEndless);
    return [onto(end, one, endless), end];
  }
  const clip = (x: number, free: boolean) => (free ? x : Math.min(1, Math.max(0, x)));
  let s = clip((uv * dot(v, w) - vv * dot(u, w)) / cross, endless);
  const t = clip((s * uv + dot(v, w)) / vv, otherEndless);
  s = clip((t * uv - dot(u, w)) / uu, endless);
  return [plus(one[0], u, s), plus(other[0], v, t)];
}

function angle(p: Picked, q: Picked): number | null {
  const first = line(p);
  const second = line(q);
  if (!first || !second) return null;
  const u = minus(first[1], first[0]);
  const v = minus(second[1], second[0]);
  const cosine = Math.min(1, Math.abs(dot(u, v)) / Math.sqrt(dot(u, u) * dot(v, v)));
  return 1 - cosine <= PARALLEL ? null : (Math.acos(cosine) * 180) / Math.PI;
}
