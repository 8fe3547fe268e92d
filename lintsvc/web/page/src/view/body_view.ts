// A body in 3D: findings lit on its faces, the chosen one with its dimension; cut open, seen through, coloured, measured.
import { type BufferGeometry, Vector3 } from "three";
import { MeshBVH, type SerializedBVH } from "three-mesh-bvh";
import { fill, h } from "../dom";
import type { Point } from "../report";
import { text } from "../strings";
import { bodyLists } from "./body_lists";
import { DrawnBody } from "./body_drawn";
import { markFinding, markMeasured } from "./body_marks";
import { BodyTools } from "./body_tools";
import type { Coarse } from "./coarse";
import { colours } from "./colours";
import type { BodyGeometry } from "./decode";
import type { WidthPieces } from "./decode_widths";
import { Marks, middleOf, vector } from "./dimension";
import { LevelMarks } from "./level_marks";
import { facesOf } from "./lit";
import { type KeptMeasuring, Measuring } from "./measure_panel";
import { BodyPicker, type Hit } from "./pick_body";
import type { BodyLists, Feature, Kept, PartLists, PartView, PlacedFinding } from "./placed";
import { type Cut, type KeptSection, Section } from "./section";
import { Sizes } from "./sizes";
import { type KeptCamera, type Look, Stage } from "./stage";
import { type Side, WidthsView } from "./widths_view";

/** What a body view fetches when it is asked for. */
interface BodySources {
  widths(): Promise<WidthPieces>;
  lists(): Promise<BodyLists>;
}
export type Colouring = "plain" | Side;

/** How somebody looks at a body: another view of the same part begins with it. */
export interface KeptBody {
  camera: KeptCamera;
  section: KeptSection;
  measuring: KeptMeasuring;
  edgesShown: boolean;
  seeThrough: boolean;
  colouring: Colouring;
}

export class BodyView implements PartView {
  readonly element: HTMLElement;
  readonly tools: HTMLElement;
  readonly stage: Stage;
  readonly section: Section;
  readonly measuring: Measuring;
  /** Until the graphics card has the body. */
  readonly ready: Promise<void>;
  edgesShown = true;
  seeThrough = false;
  colouring: Colouring = "plain";
  onDispose: () => void = () => undefined;
  private readonly drawn: DrawnBody;
  private readonly sizes: Sizes;
  private readonly marks: Marks;
  private readonly measured: Marks;
  private readonly signs: LevelMarks;
  private readonly picker: BodyPicker;
  private readonly panel: BodyTools;
  private readonly message = h("p", { class: "view-message", role: "status", hidden: true });
  private readonly legendPlace = h("div", { class: "legend-place" });
  private features: Feature[] | null = null;
  private widths: WidthsView | null = null;
  private asked: Promise<BodyLists> | null = null;
  private chosen: number | null = null;
  private resting = 0;

  constructor(
    body: BodyGeometry,
    closed: boolean,
    private readonly findings: PlacedFinding[],
    private readonly sources: BodySources,
    private readonly onPick: (index: number | null) => void,
  ) {
    this.drawn = new DrawnBody(body, findings);
    const { box, geometry } = this.drawn;
    this.stage = new Stage(box, text.bodyViewLabel);
    this.section = new Section(this.stage, this.drawn.shape, closed);
    this.ready = this.drawn.put(this.stage, this.section.planes);
    this.sizes = new Sizes(this.stage, box);
    this.marks = new Marks(this.stage, "dimension");
    this.measured = new Marks(this.stage, "measured");
    this.signs = new LevelMarks(this.stage);
    this.stage.before = () => {
      this.marks.scale();
      this.measured.scale();
      // When the view rests: while it turns, nothing is worked out that can wait.
      clearTimeout(this.resting);
      this.resting = setTimeout(() => this.signs.tellHidden((at) => this.picker.foremost(at)), 150) as unknown as number;
    };
    this.picker = new BodyPicker(geometry, this.stage.camera, this.section);
    this.measuring = new Measuring(false, () => this.drawMeasured());
    this.element = this.stage.element;
    this.panel = new BodyTools(this);
    this.tools = this.panel.element;
    this.tools.append(this.legendPlace);
    this.element.append(this.message, this.measuring.element);
    this.panel.chosen(false);
    this.listen();
    this.recolour();
    this.relight();
    this.fit();
  }

  /** The search tree arrives later than the first picture; picking waits for it. */
  setTree(tree: SerializedBVH): void {
    const geometry = this.drawn.geometry as BufferGeometry & { boundsTree?: MeshBVH };
    geometry.boundsTree = MeshBVH.deserialize(tree, geometry, { setIndex: false });
    this.element.dataset.ready = "";
  }

  addCoarse(coarse: Coarse): void {
    this.drawn.addCoarse(coarse, this.section);
  }

  setEdges(ends: Float32Array<ArrayBuffer>): void {
    this.picker.edges = ends;
    this.drawn.setEdges(ends);
  }

  select(index: number | null): void {
    this.chosen = index;
    if (index !== null) this.light(null);
    this.relight();
    this.dimension();
    const finding = index === null ? null : this.findings[index];
    this.panel.chosen(Boolean(finding?.span));
    if (finding?.box) this.flyToBox(finding.box, finding.point, finding.span);
    this.stage.draw();
  }

  light(features: Feature[] | null): void {
    this.features = features;
    this.drawn.list(features && features.flatMap((x) => x.faces ?? []));
    this.dimension();
    this.relight();
  }

  async lists(): Promise<PartLists> {
    return bodyLists(await this.bodyLists());
  }

  fit(): void {
    this.look("whole");
  }

  look(from: Look): void {
    this.stage.look(from, true);
  }

  escape(): boolean {
    return this.measuring.on && this.measuring.clear();
  }

  lit(): number[] {
    if (this.features) return facesOf(this.features.flatMap((x) => x.faces ?? []));
    if (this.chosen === null) return [];
    return this.drawn.lightsUp(this.chosen) ? facesOf(this.findings[this.chosen]?.faces ?? []) : [];
  }

  recolour(): void {
    const c = colours();
    this.drawn.recolour();
    this.sizes.recolour(c.quiet);
    this.section.recolour(c.edge, c.ground);
    this.dimension();
    this.drawMeasured();
    this.stage.draw();
  }

  relabel(): void {
    this.widths?.relabel();
    this.panel.relabel();
    this.measuring.update();
    this.stage.relabel();
  }

  dispose(): void {
    this.onDispose();
    clearTimeout(this.resting);
    this.drawn.dispose();
    this.stage.dispose();
  }

  showEdges(on: boolean): void {
    this.edgesShown = on;
    this.relight();
    this.stage.draw();
  }

  veilBody(on: boolean): void {
    this.seeThrough = on;
    this.relight();
    this.stage.draw();
  }

  cut(on: boolean): void {
    // Through what is looked at, else through the middle.
    if (on && !this.section.on) this.section.move(this.chosenPlace() ?? this.stage.centre);
    this.section.switch(on);
    this.relight();
    this.stage.draw();
  }

  /** Turn the section: across an axis, across the direction of the look, or along what the chosen finding measured. */
  turnCut(cut: Cut): void {
    const place = this.chosenPlace();
    const towards = this.stage.towards();
    const span = this.chosenSpan();
    if (cut === "seen") this.section.turn(cut, towards, place);
    else if (cut !== "along") this.section.turnTo(cut, place);
    else if (span) {
      // The plane that holds the distance and is looked at as squarely as can be.
      const along = span[1].clone().sub(span[0]).normalize();
      const across = towards.addScaledVector(along, -towards.dot(along));
      // Looked at along the distance itself, any plane that holds it will do.
      if (across.length() < 0.1) across.set(along.y, -along.x, 0);
      if (across.length() < 0.1) across.set(0, -1, 0);
      this.section.turn(cut, across, span[0].clone().lerp(span[1], 0.5));
    }
    this.relight();
  }

  async colour(by: Colouring): Promise<void> {
    this.colouring = by;
    this.panel.follow();
    if (by !== "plain" && !this.widths) {
      this.say(text.widths.loading, true);
      try {
        this.widths = new WidthsView(await this.sources.widths(), this.section.planes, () => this.stage.settle());
      } catch (error) {
        this.colouring = "plain";
        this.say(text.widths.failed(error instanceof Error ? error.message : String(error)));
        this.panel.follow();
        return;
      }
      this.drawn.setWidths(this.widths);
      this.legendPlace.append(this.widths.legend);
      this.widths.recolour(colours().part);
      by = this.colouring;
    }
    if (this.widths) this.widths.legend.hidden = by === "plain";
    this.relight();
    if (by !== "plain") await this.widths!.show(by);
    this.say("");
    this.relight();
  }

  measure(on: boolean): void {
    this.measuring.switch(on);
    this.element.classList.toggle("measuring", on);
    if (on) this.bodyLists().then((x) => { this.picker.holes = x.holes; }, () => undefined);
  }

  /** Measure from, or choose, what is under this place; for keys, the middle of the view. */
  pick(event?: { clientX: number; clientY: number }): void {
    const r = this.stage.pad.getBoundingClientRect();
    const hit = this.hitAt(event ?? { clientX: r.left + r.width / 2, clientY: r.top + r.height / 2 });
    if (this.measuring.on) {
      if (hit) this.measuring.pick(this.picker.thing(hit, this.stage.perPixel()));
      return;
    }
    // A finger has no way to point without touching.
    if (this.colouring !== "plain") this.widths?.point(hit?.face ?? null, hit?.at ?? null);
    if (!hit) return this.onPick(null);
    const { face } = hit;
    const index = this.findings.findIndex((x) => x.faces.some(([first, n]) => face >= first && face < first + n));
    if (index >= 0) this.onPick(index);
  }

  /** Cut through the ball that was measured and show it large, from the side. */
  closeUp(): void {
    const span = this.chosenSpan();
    if (!span) return;
    const [a, b] = span;
    this.section.switch(true);
    this.turnCut("along");
    this.panel.follow();
    // A little aslant, so that the faces behind the cut are seen as well.
    this.stage.closeUp(a.clone().lerp(b, 0.5), this.section.open().addScaledVector(this.stage.aside(), 0.25), a.distanceTo(b));
  }

  keep(): Kept {
    const { edgesShown, seeThrough, colouring } = this;
    return { body: { edgesShown, seeThrough, colouring, camera: this.stage.keep(), section: this.section.keep(), measuring: this.measuring.keep() } };
  }

  restore({ body }: Kept): void {
    if (!body) return;
    const { edgesShown, seeThrough, colouring, camera, section, measuring } = body;
    Object.assign(this, { edgesShown, seeThrough });
    this.stage.restore(camera);
    this.section.restore(section);
    this.measure(measuring.on);
    this.measuring.restore(measuring);
    this.panel.follow();
    this.relight();
    if (colouring !== "plain") void this.colour(colouring);
  }

  private chosenSpan(): [Vector3, Vector3] | null {
    const span = this.chosen === null ? null : this.findings[this.chosen]?.span;
    return span ? [vector(span[0]), vector(span[1])] : null;
  }

  private chosenPlace(): Vector3 | null {
    const point = this.chosen === null ? null : this.findings[this.chosen]?.point;
    return point ? vector(point) : null;
  }

  private hitAt(event: { clientX: number; clientY: number }): Hit | null {
    return this.picker.hit(this.stage.at(event));
  }

  private bodyLists(): Promise<BodyLists> {
    this.asked ??= this.sources.lists();
    return this.asked;
  }

  private say(words: string, busy = false): void {
    fill(this.message, words, busy ? h("progress", { "aria-hidden": "true" }) : null);
    this.message.hidden = !words;
  }

  private flyToBox([low, high]: [Point, Point], point: Point | null, span: [Point, Point] | null): void {
    const extent = Math.hypot(high[0] - low[0], high[1] - low[1], high[2] - low[2]);
    this.stage.flyTo(point ? vector(point) : middleOf(low, high), extent, span && vector(span[1]).sub(vector(span[0])));
  }

  private relight(): void {
    const { chosen, seeThrough } = this;
    this.drawn.show({ chosen, listed: this.features !== null, seeThrough, edges: this.edgesShown, coloured: this.colouring !== "plain" });
    // What is chosen or lit stands alone, and colours that mean a width have words of their own.
    this.signs.show(chosen !== null || this.features || this.colouring !== "plain" ? [] : this.findings);
  }

  private dimension(): void {
    markFinding(this.marks, this.chosen === null ? null : (this.findings[this.chosen] ?? null));
    const gone = this.features?.flatMap((x) => x.lines ?? []) ?? [];
    if (gone.length) this.marks.lines(gone, colours().chosen);
  }

  private drawMeasured(): void {
    markMeasured(this.measured, this.measuring);
    this.stage.draw();
  }

  private listen(): void {
    const { pad } = this.stage;
    this.stage.onClick = (event) => this.pick(event);
    pad.addEventListener("pointermove", (event) => {
      if (event.buttons || this.colouring === "plain" || !this.widths) return;
      const hit = this.hitAt(event);
      this.widths.point(hit?.face ?? null, hit?.at ?? null);
    });
  }
}
