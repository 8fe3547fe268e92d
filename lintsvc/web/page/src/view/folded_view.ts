// A sheet part folded in 3D: step by step in the order of bending, each bend turned up, down or left flat.
import {
  Box3, BufferAttribute, BufferGeometry, Color, LineBasicMaterial, LineSegments, Mesh, type MeshLambertMaterial, Raycaster, Triangle,
  Vector3,
} from "three";
import type { Point } from "../report";
import { text } from "../strings";
import { length } from "../units";
import { markMeasured } from "./body_marks";
import { colours } from "./colours";
import { Marks, middleOf } from "./dimension";
import { findEdges } from "./edges";
import type { FlatGeometry, FlatShape } from "./flat_shapes";
import { type BendPose, type FoldedGeometry, Pose, faces } from "./fold_pose";
import { FoldPlaces } from "./fold_places";
import { LevelMarks } from "./level_marks";
import { type Light, PATTERN_OF } from "./lit";
import { light, setPattern, surface } from "./materials";
import { Measuring } from "./measure_panel";
import { BodyPicker } from "./pick_body";
import type { Feature, PlacedFinding } from "./placed";
import { addCube } from "./sizes";
import { Stage } from "./stage";

/** How near to what lies on the part counts as on it, in pixels. */
const REACH = 10;
const LIT = ["error", "warning", "note", "chosen", "accent"] as const;
type Lit = (typeof LIT)[number];

/** How a bend is shown: as the part says, or turned by whoever looks. */
export type Way = "said" | "up" | "down" | "flat";

export class FoldedView {
  readonly element: HTMLElement;
  readonly stage: Stage;
  /** Groups of bends that are made together, in the order in which they are made. */
  readonly order: number[][];
  readonly ways: Way[];
  /** How many groups are folded; a fraction: the next one is on its way. */
  done: number;
  private readonly geometry = new BufferGeometry();
  private readonly mesh: Mesh<BufferGeometry, MeshLambertMaterial>;
  private readonly lines = new LineSegments(new BufferGeometry(), new LineBasicMaterial());
  /** Of findings of each level, while none is chosen; of the chosen one; of something of a list. */
  private readonly lights: Record<Lit, Light>;
  private readonly places: FoldPlaces;
  private litFaces: number[] = [];
  private readonly cube = new LineBasicMaterial();
  private readonly marks: Marks;
  private readonly signs: LevelMarks;
  private readonly measured: Marks;
  readonly measuring: Measuring;
  private readonly picker: BodyPicker;
  private pose: Pose;
  private chosen: number | null = null;
  private features: Feature[] | null = null;

  constructor(
    readonly folded: FoldedGeometry,
    private readonly flat: FlatGeometry,
    private readonly findings: PlacedFinding[],
    private readonly onPick: (index: number | null) => void,
  ) {
    this.places = new FoldPlaces(folded, flat);
    this.order = folded.order ?? folded.operations;
    this.ways = folded.bends.map(() => "said");
    this.done = this.order.length;
    this.pose = new Pose(folded, this.poses());
    // Room for it flat and for it folded: it must not jump while it is folded.
    const box = new Box3().setFromArray(this.pose.vertices());
    const flatBox = new Box3(new Vector3(...flat.box[0], 0), new Vector3(...flat.box[1], 0));
    this.geometry.setIndex(new BufferAttribute(faces(folded), 1));
    this.stage = new Stage(box.clone().union(flatBox), text.folding.label(folded.bends.length));
    this.element = this.stage.element;
    this.mesh = new Mesh(this.geometry, surface());
    const lit = () => new Mesh(new BufferGeometry(), light());
    this.lights = { error: lit(), warning: lit(), note: lit(), chosen: lit(), accent: lit() };
    for (const object of [this.mesh, this.lines, ...Object.values(this.lights)]) {
      object.frustumCulled = false;
      this.stage.scene.add(object);
    }
    addCube(this.stage, box.union(flatBox), this.cube);
    this.lines.renderOrder = 1;
    this.marks = new Marks(this.stage, "dimension");
    this.signs = new LevelMarks(this.stage);
    this.measured = new Marks(this.stage, "measured");
    this.stage.before = () => {
      this.marks.scale();
      this.measured.scale();
    };
    this.picker = new BodyPicker(this.geometry, this.stage.camera, { on: false, shows: () => true });
    this.measuring = new Measuring(false, () => this.drawMeasured());
    this.element.append(this.measuring.element);
    this.stage.onClick = (event) => this.pick(event);
    this.fold(this.done);
    this.recolour();
    this.stage.look("whole");
  }

  /** Fold so many groups of bends. */
  fold(done: number): void {
    this.done = done;
    this.pose = new Pose(this.folded, this.poses());
    const vertices = this.pose.vertices();
    this.geometry.setAttribute("position", new BufferAttribute(vertices, 3));
    this.geometry.boundingSphere = null;
    for (const { geometry } of Object.values(this.lights)) geometry.setAttribute("position", this.geometry.getAttribute("position"));
    this.lines.geometry.dispose();
    this.lines.geometry = new BufferGeometry();
    const edges = findEdges(vertices, this.geometry.index!.array as Uint32Array);
    this.lines.geometry.setAttribute("position", new BufferAttribute(edges, 3));
    this.picker.edges = edges;
    this.picker.holes = this.flat.holes.map(({ diameter_mm, centre, entities }) => {
      const [low, high] = this.pose.onBoth(...centre);
      return {
        diameter_mm, depth_mm: this.folded.thickness_mm, kind: "through", ends: [low.toArray() as Point, high.toArray() as Point],
        faces: this.places.facesOf({ entities }).map((x): [number, number] => [x, 1]),
      };
    });
    // What was picked is somewhere else now.
    this.measuring.clear();
    this.mark();
  }

  measure(on: boolean): void {
    this.measuring.switch(on);
    this.element.classList.toggle("measuring", on);
  }

  relabel(): void {
    this.measuring.update();
    this.stage.relabel();
  }

  turn(bend: number, way: Way): void {
    this.ways[bend] = way;
    this.fold(this.done);
  }

  /** Which way a bend goes as shown: up, down, or not at all. */
  shown(bend: number): "up" | "down" | "flat" {
    const way = this.ways[bend]!;
    return way === "said" ? this.folded.bends[bend]!.direction : way;
  }

  select(index: number | null): void {
    this.chosen = index;
    this.mark();
    const finding = index === null ? null : this.findings[index];
    if (!finding?.point || !finding.box) return;
    const [low, high] = finding.box;
    const [under, top] = this.pose.onBoth(finding.point[0], finding.point[1]);
    // From the side of the sheet that is nearer to whoever looks, with its surroundings.
    const facing = top.clone().sub(under);
    if (facing.dot(this.stage.towards()) < 0) facing.negate();
    this.stage.flyTo(top, Math.max(3 * Math.hypot(high[0] - low[0], high[1] - low[1]), this.stage.radius / 4), null, facing);
  }

  /** Numbers of the faces that are lit as chosen. */
  lit(): number[] {
    return [...this.litFaces];
  }

  /** Choose what is under this place; for keys, the middle of the view. */
  pick(event?: { clientX: number; clientY: number }): void {
    const r = this.stage.pad.getBoundingClientRect();
    const caster = new Raycaster();
    caster.setFromCamera(this.stage.at(event ?? { clientX: r.left + r.width / 2, clientY: r.top + r.height / 2 }), this.stage.camera);
    const [hit] = caster.intersectObject(this.mesh, false);
    const face = hit?.face;
    if (this.measuring.on) {
      if (hit) this.measuring.pick(this.picker.thing({ face: hit.faceIndex!, at: hit.point }, this.stage.perPixel()));
      return;
    }
    if (!face) return this.onPick(null);
    const at = (corner: number) => new Vector3().fromBufferAttribute(this.geometry.getAttribute("position"), corner);
    const shares = Triangle.getBarycoord(hit.point, at(face.a), at(face.b), at(face.c), new Vector3());
    if (!shares) return;
    const [x, y] = this.places.flatAt([face.a, face.b, face.c], shares.toArray());
    const found = this.places.findingAt(this.findings, hit.faceIndex!, x, y, REACH * this.stage.perPixel());
    if (found !== null) this.onPick(found);
  }

  light(features: Feature[] | null): void {
    this.features = features;
    this.mark();
  }

  recolour(): void {
    const c = colours();
    this.mesh.material.color.set(new Color(c.part));
    this.lines.material.color.set(new Color(c.edge));
    for (const lit of LIT) {
      this.lights[lit].material.color.set(new Color(c[lit]));
      setPattern(this.lights[lit].material, lit === "chosen" || lit === "accent" ? "plain" : PATTERN_OF[lit], c.ground);
    }
    this.cube.color.set(new Color(c.quiet));
    this.drawMeasured();
    this.mark();
  }

  dispose(): void {
    this.geometry.dispose();
    this.stage.dispose();
  }

  private poses(): BendPose[] {
    return this.folded.bends.map((bend, i) => {
      const way = this.shown(i);
      const group = this.order.findIndex((x) => x.includes(bend.number));
      const share = way === "flat" ? 0 : Math.min(1, Math.max(0, this.done - group));
      return { way: (way === "flat" ? bend.direction : way) === "up" ? 1 : -1, share };
    });
  }

  /** Draw the words at the bends, and what is lit. */
  private mark(): void {
    const c = colours();
    this.marks.clear();
    this.stage.unlabel("bend-up");
    this.stage.unlabel("bend-down");
    this.stage.unlabel("bend-flat");
    this.folded.bends.forEach((bend, i) => {
      const [x0, y0, x1, y1] = bend.line;
      const way = this.shown(i);
      // In the middle, unless a measured distance may be written there.
      const share = this.chosen === null ? 0.5 : 0.2;
      const [low, high] = this.pose.onBoth(x0 + share * (x1 - x0), y0 + share * (y1 - y0));
      this.stage.label(`bend-${way}`, way === "down" ? low : high, () => text.folding.bend(bend.number + 1, way, bend.angle_deg));
    });
    const finding = this.chosen === null ? null : (this.findings[this.chosen] ?? null);
    const facesOf = (things: { entities?: number[] }[]) => [...new Set(things.flatMap((x) => this.places.facesOf(x)))];
    const quiet = finding !== null || this.features !== null;
    for (const level of ["error", "warning", "note"] as const) this.show(level, quiet ? [] : facesOf(this.findings.filter((x) => x.level === level)));
    this.signs.show(quiet ? [] : this.findings, ({ point }) => point && this.onTop(point));
    const chosen = finding ? this.places.facesOf(finding) : [];
    const listed = facesOf(this.features ?? []);
    this.show("chosen", chosen);
    this.show("accent", listed);
    this.litFaces = this.features ? listed : chosen;
    for (const number of new Set((this.features ?? []).flatMap((f) => f.entities ?? []))) this.follow(number, c.accent);
    if (finding) this.markFinding(finding, c.chosen);
    this.stage.draw();
  }

  private drawMeasured(): void {
    markMeasured(this.measured, this.measuring);
    this.stage.draw();
  }

  private show(which: Lit, numbers: number[]): void {
    const whole = this.geometry.index!.array as Uint32Array;
    const index = new Uint32Array(3 * numbers.length);
    numbers.forEach((face, i) => index.set(whole.subarray(3 * face, 3 * face + 3), 3 * i));
    this.lights[which].geometry.setIndex(new BufferAttribute(index, 1));
    this.lights[which].visible = numbers.length > 0;
  }

  private markFinding(finding: PlacedFinding, colour: string): void {
    if (finding.lines.length) for (const [a, b] of finding.lines) this.line([[a[0], a[1]], [b[0], b[1]]], colour);
    else for (const number of finding.entities) this.follow(number, colour);
    if (finding.span) {
      // Measured in the flat, and drawn along the sheet.
      const [a, b] = finding.span;
      this.line([[a[0], a[1]], [b[0], b[1]]], colour, [1]);
      this.marks.label(this.onTop(middleOf(a, b).toArray()), () => length(Math.hypot(a[0] - b[0], a[1] - b[1], a[2] - b[2])));
    } else if (finding.point) this.marks.dot(this.onTop(finding.point), colour);
  }

  private onTop([x, y]: readonly number[]): Vector3 {
    return this.pose.onBoth(x!, y!)[1];
  }

  /** Draw an entity of the flat where it went. */
  private follow(number: number, colour: string): void {
    for (const shape of this.flat.entities.find((x) => x.number === number)?.shapes ?? []) this.line(pointsOf(shape), colour);
  }

  private line(points: [number, number][], colour: string, sides: readonly (0 | 1)[] = [0, 1]): void {
    const ends: [Point, Point][] = [];
    const step = Math.max(0.5, this.stage.radius / 60);
    for (let i = 0; i + 1 < points.length; i++) {
      const [x0, y0] = points[i]!;
      const [x1, y1] = points[i + 1]!;
      // In short pieces, so that it goes around the bends.
      const pieces = Math.min(60, Math.max(1, Math.ceil(Math.hypot(x1 - x0, y1 - y0) / step)));
      let before: [Vector3, Vector3] | null = null;
      for (let k = 0; k <= pieces; k++) {
        const here = this.pose.onBoth(x0 + ((x1 - x0) * k) / pieces, y0 + ((y1 - y0) * k) / pieces);
        if (before) for (const side of sides) ends.push([before[side].toArray() as Point, here[side].toArray() as Point]);
        before = here;
      }
    }
    this.marks.lines(ends, colour);
  }
}

/** A shape as points, near enough to be seen. */
function pointsOf(shape: FlatShape): [number, number][] {
  if ("line" in shape) return [[shape.line[0], shape.line[1]], [shape.line[2], shape.line[3]]];
  if ("polyline" in shape) {
    const p = shape.polyline;
    return Array.from({ length: p.length / 2 }, (_, i) => [p[2 * i]!, p[2 * i + 1]!]);
  }
  const [x, y, r, start, end] = "circle" in shape ? [...shape.circle, 0, 360] as const : shape.arc;
  const sweep = (((end - start) % 360) + 360) % 360 || 360;
  return Array.from({ length: 33 }, (_, i) => {
    const a = ((start + (sweep * i) / 32) * Math.PI) / 180;
    return [x + r * Math.cos(a), y + r * Math.sin(a)];
  });
}
