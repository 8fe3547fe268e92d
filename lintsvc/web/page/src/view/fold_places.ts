// Where things of the flat are on the folded body: the faces of bends, holes and edges, and back from a face to the flat.
import { findingNear } from "./flat_pick";
import { type FlatGeometry, type FlatShape, offShape } from "./flat_shapes";
import type { FoldedGeometry } from "./fold_pose";
import type { PlacedFinding } from "./placed";

/** What lies on a curve of the flat is within this of it, mm: edges are drawn by straight pieces between places on it. */
const ON_MM = 0.02;

/** What can be lit: a finding, or something of a list. */
interface Thing { entities?: number[]; lines?: [number[], number[]][]; bends?: number[] }

export class FoldPlaces {
  private readonly shapes = new Map<number, FlatShape[]>();
  private readonly known = new WeakMap<Thing, number[]>();

  constructor(private readonly folded: FoldedGeometry, private readonly flat: FlatGeometry) {
    for (const { number, shapes } of flat.entities) this.shapes.set(number, shapes);
  }

  /** Numbers of faces (see `faces` in fold_pose.ts): all of the bends among its entities, and the edges along its curves. */
  facesOf(thing: Thing): number[] {
    let faces = this.known.get(thing);
    if (!faces) this.known.set(thing, (faces = this.find(thing)));
    return faces;
  }

  private find({ entities = [], lines = [], bends = [] }: Thing): number[] {
    const turned = new Set([...bends, ...this.flat.bends.flatMap((x, i) => (x.entity !== null && entities.includes(x.entity) ? [i] : []))]);
    const curves = entities.flatMap((x) => this.shapes.get(x) ?? []);
    // Where the fault is a piece of an edge, that piece.
    const piece = lines.map(([a, b]): FlatShape => ({ line: [a[0]!, a[1]!, b[0]!, b[1]!] }));
    const onPiece = this.edgesOn(piece);
    return [...this.bendFaces(turned), ...(onPiece.length ? onPiece : this.edgesOn(curves))];
  }

  /** The place of the flat that a place of a face was. `shares`: of the face's three corners. */
  flatAt(corners: [number, number, number], shares: [number, number, number]): [number, number] {
    const { points, piece } = this.folded;
    let [x, y] = [0, 0];
    corners.forEach((corner, i) => {
      const vertex = corner % piece.length;
      x += shares[i]! * points[2 * vertex]!;
      y += shares[i]! * points[2 * vertex + 1]!;
    });
    return [x, y];
  }

  /** The finding that lies nearest to a place of the flat, within so many mm; a bend is all of its zone. */
  findingAt(findings: PlacedFinding[], face: number, x: number, y: number, within: number): number | null {
    const found = findingNear(findings, this.shapes, x, y, within);
    if (found !== null) return found;
    const on = findings.findIndex((x) => this.facesOf(x).includes(face));
    return on < 0 ? null : on;
  }

  private bendFaces(bends: Set<number>): number[] {
    const { triangle_piece, panels, zones, bends: all } = this.folded;
    return triangle_piece.flatMap((piece, t) => (piece >= panels && bends.has(all[zones[piece - panels]!.bend]!.number) ? [2 * t, 2 * t + 1] : []));
  }

  private edgesOn(curves: FlatShape[]): number[] {
    const { rim, points, triangle_piece } = this.folded;
    const first = 2 * triangle_piece.length;
    const faces: number[] = [];
    for (let i = 0; i < rim.length; i += 2) {
      const [ax, ay, bx, by] = [rim[i]!, rim[i + 1]!].flatMap((v) => [points[2 * v]!, points[2 * v + 1]!]) as [number, number, number, number];
      // The chord of a curve has its ends on it, whatever its middle.
      if (curves.some((shape) => offShape(shape, ax, ay) < ON_MM && offShape(shape, bx, by) < ON_MM)) faces.push(first + i, first + i + 1);
    }
    return faces;
  }
}
