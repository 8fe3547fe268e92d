// What is drawn of a body: its faces, solid or as a veil, its edges, what is lit on it, and its colours for widths.
import {
  Box3, BufferAttribute, BufferGeometry, Color, type LineBasicMaterial, LineSegments, Mesh, type MeshBasicMaterial,
  type MeshLambertMaterial, type Plane, Sphere, Vector3,
} from "three";
import type { Coarse } from "./coarse";
import { colours } from "./colours";
import type { BodyGeometry } from "./decode";
import { type Light, PATTERN_OF, type Runs, coarseOf, makeLight, setLight } from "./lit";
import { edge, surface, veil } from "./materials";
import type { PlacedFinding } from "./placed";
import type { Section } from "./section";
import { Sender, turn } from "./send";
import type { Stage } from "./stage";
import type { WidthsView } from "./widths_view";

/** More edges than this are left out while the view moves, where it is slow. */
const MANY_EDGES = 50_000;
const MANY_WHERE_SLOW = 5_000;

/** Lights are made for so long in one turn of the page's thread, ms. */
const TURN_MS = 8;

/** What is asked for of the picture. */
interface Shown {
  chosen: number | null;
  /** Something of a list is lit. */
  listed: boolean;
  seeThrough: boolean;
  edges: boolean;
  coloured: boolean;
}

/** What stands for the body and its lights while the view moves. */
interface Level { body: BufferGeometry; lights: BufferGeometry[] }

export class DrawnBody {
  /** As it is here, to be picked from. */
  readonly geometry = new BufferGeometry();
  /** As the graphics card has it. */
  readonly shape = new BufferGeometry();
  readonly box: Box3;
  private readonly mesh: Mesh<BufferGeometry, MeshLambertMaterial>;
  /** Fills the depth of a veiled body, so that only its foremost faces are drawn. */
  private readonly veil: Mesh<BufferGeometry, MeshBasicMaterial>;
  private readonly lines: LineSegments<BufferGeometry, LineBasicMaterial>[] = [];
  private readonly lights: Light[] = [];
  private readonly fine: BufferGeometry[] = [];
  private readonly levels: Level[] = [];
  private widthsCoarse: Coarse | null = null;
  private listLight: Light | null = null;
  private widths: WidthsView | null = null;
  private shown: Shown = { chosen: null, listed: false, seeThrough: false, edges: true, coloured: false };
  /** The level that is drawn, 0 for all. */
  private hurried = 0;
  private gone = false;
  /** Set when the stage is there; all that is drawn is added to its scene. */
  private stage!: Stage;
  private sender!: Sender;
  private planes: Plane[] = [];

  constructor(body: BodyGeometry, private readonly findings: PlacedFinding[]) {
    const { geometry } = this;
    geometry.setAttribute("position", new BufferAttribute(body.positions, 3));
    geometry.setIndex(new BufferAttribute(body.index, 1));
    this.box = new Box3(new Vector3(...body.box[0]), new Vector3(...body.box[1]));
    geometry.boundingBox = this.box;
    geometry.boundingSphere = this.shape.boundingSphere = this.box.getBoundingSphere(new Sphere());
    this.mesh = new Mesh(this.shape, surface());
    this.veil = new Mesh(this.shape, veil([]));
    this.veil.renderOrder = -1;
  }

  /** Put it on a stage, cut by these planes; until the graphics card has it. Small bodies are there in one turn. */
  async put(stage: Stage, planes: Plane[]): Promise<void> {
    this.stage = stage;
    this.sender = stage.sender();
    this.planes = planes;
    this.mesh.material.clippingPlanes = this.veil.material.clippingPlanes = planes;
    this.shape.setAttribute("position", this.sender.attribute(this.geometry.getAttribute("position").array as Float32Array<ArrayBuffer>));
    this.shape.setIndex(this.sender.attribute(this.corners()));
    stage.scene.add(this.mesh, this.veil);
    let began = performance.now();
    for (const { faces } of this.findings) {
      const light = this.light(faces);
      this.lights.push(light);
      this.fine.push(light.geometry);
      stage.scene.add(light);
      if (performance.now() - began < TURN_MS) continue;
      await turn();
      began = performance.now();
      if (this.gone) return;
    }
    await this.sender.whole();
    if (!this.gone) this.recolour();
  }

  /** Fewer faces to draw while the view moves, where all would be slow; each that is added is coarser. */
  addCoarse(coarse: Coarse, section: Section): void {
    const level: Level = { body: this.sender.sharing(this.shape, coarse.index), lights: [] };
    this.levels.push(level);
    // Each in its own turn of the page's thread; until it is there, a light is drawn as fine as it is.
    const make = () => {
      const finding = this.findings[level.lights.length];
      if (!finding || this.gone) return void this.sender.whole();
      level.lights.push(this.sender.sharing(this.shape, coarseOf(coarse, finding.faces)));
      setTimeout(make);
    };
    make();
    // What was given to the card stands in from now on; until then it would be drawn as nothing.
    void this.sender.whole().then(() => { this.stage.pace.levels = this.levels.length; });
    this.widthsCoarse ??= coarse;
    this.stage.pace.hurry ??= (on) => this.hurry(on, section);
    void this.stage.pace.pictured();
  }

  private hurry(on: number, section: Section): void {
    const level = on ? this.levels[on - 1] : undefined;
    for (const mesh of [this.mesh, this.veil]) mesh.geometry = level?.body ?? this.shape;
    // Cut open, it is drawn twice more, to know where the cut goes through its inside.
    section.through(this.mesh.geometry);
    this.lights.forEach((light, i) => { light.geometry = level?.lights[i] ?? this.fine[i]!; });
    this.widths?.hurry(level ? this.widthsCoarse : null, this.geometry.getAttribute("position").array);
    this.hurried = on;
    this.showLines();
  }

  setEdges(ends: Float32Array<ArrayBuffer>): void {
    const geometry = new BufferGeometry();
    geometry.setAttribute("position", this.sender.attribute(ends));
    geometry.boundingSphere = this.geometry.boundingSphere;
    // Twice: as they are, and faintly those behind a veiled body.
    for (const hidden of [false, true]) {
      const lines = new LineSegments(geometry, edge(this.planes, hidden));
      lines.renderOrder = hidden ? 4 : 5;
      lines.frustumCulled = false;
      this.lines.push(lines);
    }
    void this.sender.whole().then(() => {
      if (this.gone) return;
      this.stage.scene.add(...this.lines);
      this.recolour();
    });
  }

  setWidths(widths: WidthsView): void {
    this.widths = widths;
    this.stage.scene.add(widths.group);
  }

  /** Light faces of something of a list; null ends it. */
  list(runs: Runs | null): void {
    if (this.listLight) {
      this.stage.scene.remove(this.listLight);
      if (this.listLight.geometry !== this.shape) this.sender.forget(this.listLight.geometry);
      this.listLight = null;
    }
    if (!runs) return;
    const light = this.listLight = this.light(runs);
    void this.sender.whole().then(() => {
      if (light !== this.listLight || this.gone) return;
      this.stage.scene.add(light);
      this.stage.draw();
    });
  }

  /** Whether the light of a finding is seen. */
  lightsUp(index: number): boolean {
    return this.lights[index]?.visible ?? false;
  }

  recolour(): void {
    const c = colours();
    this.mesh.material.color.set(new Color(c.part));
    for (const lines of this.lines) lines.material.color.set(new Color(c.edge));
    this.widths?.recolour(c.part);
    this.show(this.shown);
  }

  show(shown: Shown): void {
    this.shown = shown;
    const c = colours();
    const { chosen, listed, seeThrough } = shown;
    const quiet = chosen !== null || listed;
    const veiled = seeThrough || quiet;
    const coloured = shown.coloured && this.widths !== null;
    this.lights.forEach((mesh, i) => {
      const mine = i === chosen;
      // Colours that mean a width must not be painted over.
      const opacity = mine ? 1 : coloured ? 0 : quiet ? (listed ? 0 : 0.2) : veiled ? 1 : 0.65;
      const { level } = this.findings[i]!;
      setLight(mesh, mine ? c.chosen : c[level], opacity, mine || (veiled && !quiet), mine ? "plain" : PATTERN_OF[level]);
    });
    if (this.listLight) setLight(this.listLight, c.accent, 1, true);
    const { material } = this.mesh;
    material.transparent = veiled;
    material.opacity = veiled ? 0.42 : 1;
    material.depthWrite = !veiled;
    material.needsUpdate = true;
    this.mesh.renderOrder = veiled ? 2 : 0;
    this.mesh.visible = !(coloured && this.widths?.there) || veiled;
    this.veil.visible = veiled;
    if (this.widths) {
      this.widths.group.visible = coloured && !quiet;
      // Through a veil, only what is below the limit shines.
      this.widths.onlyBelow(veiled);
    }
    this.showLines();
    this.stage.draw();
  }

  dispose(): void {
    this.gone = true;
    for (const { body, lights } of this.levels) for (const geometry of [body, ...lights]) geometry.dispose();
    for (const geometry of [this.shape, ...this.fine]) geometry.dispose();
    this.widths?.dispose();
    this.sender.dispose();
  }

  private corners(): Uint32Array<ArrayBuffer> {
    return this.geometry.index!.array as Uint32Array<ArrayBuffer>;
  }

  private light(runs: Runs): Light {
    return makeLight(this.shape, this.corners(), runs, this.planes, this.sender);
  }

  private showLines(): void {
    const [plain, hidden] = this.lines;
    if (!plain || !hidden) return;
    const most = [Infinity, MANY_EDGES, MANY_WHERE_SLOW][this.hurried] ?? 0;
    plain.visible = this.shown.edges && plain.geometry.getAttribute("position").count <= 2 * most;
    hidden.visible = plain.visible && this.veil.visible;
  }
}
