// What lies under a place of the screen: a face of the body, and for measuring a corner, an edge or a hole near it.
import { type BufferGeometry, type Camera, DoubleSide, Mesh, MeshBasicMaterial, Raycaster, Vector2, type Vector3 } from "three";
import { type MeshBVH, acceleratedRaycast } from "three-mesh-bvh";
import type { Point } from "../report";
import { type Picked, apart, nearestOnLine } from "./measure";
import type { BodyHole } from "./placed";
import type { Section } from "./section";

/** How near to a corner or an edge counts as on it, in pixels. */
const REACH = 9;

export interface Hit { face: number; at: Vector3 }

export class BodyPicker {
  /** Ends of the design's edges, six numbers each. */
  edges = new Float32Array(0);
  holes: BodyHole[] = [];
  private readonly caster = new Raycaster();
  /** The body as it is picked from, which is all of it whatever is drawn. */
  private readonly target: Mesh;

  constructor(
    private readonly geometry: BufferGeometry,
    private readonly camera: Camera,
    private readonly section: Pick<Section, "on" | "shows">,
  ) {
    this.target = new Mesh(geometry, new MeshBasicMaterial({ side: DoubleSide }));
    this.target.raycast = acceleratedRaycast;
  }

  /** The nearest face there that the section leaves; null beside the part, and before the search tree is there. */
  hit(at: Vector2): Hit | null {
    const tree = (this.geometry as BufferGeometry & { boundsTree?: MeshBVH }).boundsTree;
    if (!tree) return null;
    this.caster.setFromCamera(at, this.camera);
    (this.caster as Raycaster & { firstHitOnly?: boolean }).firstHitOnly = !this.section.on;
    const hits = this.caster.intersectObject(this.target, false);
    const hit = hits.find((x) => this.section.shows(x.point));
    return hit && hit.faceIndex !== undefined && hit.faceIndex !== null ? { face: hit.faceIndex, at: hit.point } : null;
  }

  /** What of the part is seen where a place of it is. */
  foremost(place: Vector3): Vector3 | null {
    const { x, y } = place.clone().project(this.camera);
    return this.hit(new Vector2(x, y))?.at ?? null;
  }

  /** What is measured from there: a hole before a corner, a corner before an edge, else the point itself. */
  thing(hit: Hit, perPixel: number): Picked {
    const at = hit.at.toArray() as Point;
    const reach = REACH * perPixel;
    const inHole = this.holes.find((x) => x.faces.some(([first, n]) => hit.face >= first && hit.face < first + n));
    if (inHole) return holeOf(inHole, at);
    let corner: Point | null = null;
    let edge: [Point, Point] | null = null;
    let cornerOff = reach;
    let edgeOff = reach;
    const e = this.edges;
    for (let i = 0; i < e.length; i += 6) {
      // Boxes first: nearly all edges are far off.
      if (Math.min(e[i]!, e[i + 3]!) - reach > at[0] || Math.max(e[i]!, e[i + 3]!) + reach < at[0]) continue;
      if (Math.min(e[i + 1]!, e[i + 4]!) - reach > at[1] || Math.max(e[i + 1]!, e[i + 4]!) + reach < at[1]) continue;
      if (Math.min(e[i + 2]!, e[i + 5]!) - reach > at[2] || Math.max(e[i + 2]!, e[i + 5]!) + reach < at[2]) continue;
      const a: Point = [e[i]!, e[i + 1]!, e[i + 2]!];
      const b: Point = [e[i + 3]!, e[i + 4]!, e[i + 5]!];
      for (const end of [a, b]) {
        const off = apart(at, end);
        if (off < cornerOff) [corner, cornerOff] = [end, off];
      }
      const off = apart(at, nearestOnLine(at, a, b));
      if (off < edgeOff) [edge, edgeOff] = [[a, b], off];
    }
    if (edge) {
      // The rim of a hole is its circle, not one of the short pieces that it is drawn with.
      const [a, b] = edge;
      const rim = this.holes.find((x) => onRim(a, x, perPixel) && onRim(b, x, perPixel));
      if (rim) return holeOf(rim, at);
    }
    if (corner) return { kind: "point", at: corner, corner: true };
    if (edge) return { kind: "edge", at: nearestOnLine(at, ...edge), a: edge[0], b: edge[1] };
    return { kind: "point", at, corner: false };
  }
}

function holeOf(hole: BodyHole, near: Point): Picked {
  const [a, b] = hole.ends;
  return { kind: "hole", at: nearestOnLine(near, a, b), a, b, diameter_mm: hole.diameter_mm, depth_mm: hole.depth_mm };
}

/** Whether a point lies on one of the circles at the ends of a hole. */
function onRim(p: Point, hole: BodyHole, perPixel: number): boolean {
  const [a, b] = hole.ends;
  const off = apart(p, nearestOnLine(p, a, b));
  const within = Math.max(0.02 * hole.diameter_mm, perPixel / 2);
  return Math.abs(off - hole.diameter_mm / 2) < within;
}
