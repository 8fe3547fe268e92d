// A sheet posed bend by bend; the formulas stand in lintsvc/reports/folded.py.
import { Matrix4, Vector3 } from "three";

interface FoldedBend {
  number: number;
  line: [number, number, number, number];
  angle_deg: number;
  direction: "up" | "down";
  radius_mm: number;
  k_factor: number;
  allowance_mm: number;
  entity: number | null;
}
export interface FoldedGeometry {
  thickness_mm: number;
  size_mm: [number, number, number];
  base: number;
  panels: number;
  points: number[];
  piece: number[];
  triangles: number[];
  triangle_piece: number[];
  rim: number[];
  rim_piece: number[];
  bends: FoldedBend[];
  zones: { bend: number; low: number[]; high: number[] }[];
  operations: number[][];
  order: number[][] | null;
  order_note: string;
  steps: { zone: number; from: number; side: "low" | "high" }[];
}
/** How one bend stands: which way, and how much of its angle, 0 to 1. */
export interface BendPose { way: 1 | -1; share: number }

interface Turned { turn: number; way: 1 | -1; u: Vector3; l: Vector3; start: Vector3; c: Vector3; allowance: number; to: Matrix4 }

export class Pose {
  private readonly turned: Turned[];
  private readonly places: Matrix4[];

  constructor(private readonly folded: FoldedGeometry, bends: BendPose[]) {
    this.turned = folded.bends.map((bend, i) => turnOf(bend, folded.thickness_mm, bends[i]!));
    const { panels, zones } = folded;
    this.places = Array.from({ length: panels + zones.length }, () => new Matrix4());
    const placed = new Set([folded.base]);
    for (const { zone, from, side } of folded.steps) {
      const to = this.turned[zones[zone]!.bend]!.to;
      const here = this.places[panels + zone]!.copy(this.places[from]!);
      if (side === "high") here.multiply(to.clone().invert());
      for (const panel of zones[zone]!.low) if (!placed.has(panel)) { this.places[panel]!.copy(here); placed.add(panel); }
      for (const panel of zones[zone]!.high) if (!placed.has(panel)) { this.places[panel]!.copy(here).multiply(to); placed.add(panel); }
    }
  }

  /** Where a point (x, y, z) of a piece goes; z from 0 to the thickness. */
  point(piece: number, x: number, y: number, z: number): Vector3 {
    const { panels, zones } = this.folded;
    const p = new Vector3(x, y, z);
    if (piece >= panels) {
      const { turn, way, u, l, start, c, allowance } = this.turned[zones[piece - panels]!.bend]!;
      if (turn !== 0) {
        const q = new Vector3(x, y, 0).sub(start);
        const along = q.dot(u);
        const g = ((q.dot(l) + allowance / 2) / allowance) * turn;
        const h = way * (c.z - z);
        p.set(c.x, c.y, 0).addScaledVector(u, along).addScaledVector(l, h * Math.sin(g));
        p.z = c.z - way * h * Math.cos(g);
      }
    }
    return p.applyMatrix4(this.places[piece]!);
  }

  /** All vertices of the closed body: the lower side's, then the upper side's. */
  vertices(): Float32Array {
    const { points, piece, thickness_mm } = this.folded;
    const n = piece.length;
    const at = new Float32Array(6 * n);
    for (let i = 0; i < n; i++) {
      this.point(piece[i]!, points[2 * i]!, points[2 * i + 1]!, 0).toArray(at, 3 * i);
      this.point(piece[i]!, points[2 * i]!, points[2 * i + 1]!, thickness_mm).toArray(at, 3 * (n + i));
    }
    return at;
  }

  /** Where a place of the flat goes, on the lower and on the upper side. */
  onBoth(x: number, y: number): [Vector3, Vector3] {
    const piece = this.pieceAt(x, y);
    return [this.point(piece, x, y, 0), this.point(piece, x, y, this.folded.thickness_mm)];
  }

  /** The piece that a place of the flat lies on, or is nearest to. */
  private pieceAt(x: number, y: number): number {
    const { points, triangles, triangle_piece } = this.folded;
    let best = Infinity;
    let found = this.folded.base;
    for (let t = 0; t < triangle_piece.length; t++) {
      const corner = [0, 1, 2].map((k) => 2 * triangles[3 * t + k]!);
      let off = 0;
      for (let k = 0; k < 3; k++) {
        const a = corner[k]!;
        const b = corner[(k + 1) % 3]!;
        const ex = points[b]! - points[a]!;
        const ey = points[b + 1]! - points[a + 1]!;
        // How far outside this side; counter-clockwise, so inside is to the left.
        const outside = (ey * (x - points[a]!) - ex * (y - points[a + 1]!)) / (Math.hypot(ex, ey) || 1);
        off = Math.max(off, outside);
      }
      if (off < best) [best, found] = [off, triangle_piece[t]!];
      if (best <= 0) break;
    }
    return found;
  }
}

/** Faces of the closed body, whatever the pose. */
export function faces(folded: FoldedGeometry): Uint32Array {
  const n = folded.piece.length;
  const { triangles, rim } = folded;
  const index: number[] = [];
  for (let i = 0; i < triangles.length; i += 3) {
    const [a, b, c] = [triangles[i]!, triangles[i + 1]!, triangles[i + 2]!];
    index.push(c, b, a, n + a, n + b, n + c);
  }
  for (let i = 0; i < rim.length; i += 2) {
    const [a, b] = [rim[i]!, rim[i + 1]!];
    index.push(a, b, n + b, a, n + b, n + a);
  }
  return new Uint32Array(index);
}

function turnOf(bend: FoldedBend, thickness: number, { way, share }: BendPose): Turned {
  const [x0, y0, x1, y1] = bend.line;
  const length = Math.hypot(x1 - x0, y1 - y0);
  const u = new Vector3((x1 - x0) / length, (y1 - y0) / length, 0);
  const l = new Vector3(-u.y, u.x, 0);
  const start = new Vector3(x0, y0, 0);
  const turn = (share * bend.angle_deg * Math.PI) / 180;
  const allowance = bend.allowance_mm;
  const to = new Matrix4();
  const c = start.clone().addScaledVector(l, -allowance / 2);
  if (turn !== 0) {
    const r = allowance / turn - bend.k_factor * thickness;
    c.z = way > 0 ? thickness + r : -r;
    to.makeTranslation(c.x, c.y, c.z)
      .multiply(new Matrix4().makeRotationAxis(u, way * turn))
      .multiply(new Matrix4().makeTranslation(-allowance * l.x - c.x, -allowance * l.y - c.y, -c.z));
  }
  return { turn, way, u, l, start, c, allowance, to };
}
