// Wall thickness or gap width as colours on the body, with its scale and what it is under the pointer.
import {
  BufferAttribute, BufferGeometry, Color, DataTexture, Group, Mesh, NearestFilter, type Plane, RGBAFormat, type ShaderMaterial,
  UnsignedByteType,
} from "three";
import { fill, h } from "../dom";
import { text } from "../strings";
import { length } from "../units";
import type { Coarse } from "./coarse";
import { TOLERANCE, type WidthPieces } from "./decode_widths";
import { type Scale, makeScale } from "./ramp";
import { widthsMaterial } from "./widths_material";

/** Pieces that go to the graphics card at once: about 5 MB. */
const PART = 100_000;

export type Side = "wall" | "gap";

export class WidthsView {
  readonly group = new Group();
  readonly legend = h("div", { class: "view-legend", role: "group" });
  private readonly here = h("p", { class: "legend-here" });
  private readonly scales: Record<Side, Scale>;
  private readonly material: ShaderMaterial;
  /** The pieces in parts of so many that one goes to the graphics card at once. */
  private readonly fine: Mesh<BufferGeometry>[] = [];
  private coarse: Mesh<BufferGeometry> | null = null;
  private coarseWidths: Record<Side, BufferAttribute> | null = null;
  private readonly attributes: Record<Side, BufferAttribute[]> = { wall: [], gap: [] };
  /** So many parts are on the graphics card with the widths of this side. */
  private sent = 0;
  private hurried = false;
  /** Counts what was asked for, so that what was asked before ends. */
  private asked = 0;
  private side: Side = "wall";
  private shown: number | null = null;

  /** `settle` draws once, as coarsely as may be, and waits until that is done. */
  constructor(private readonly pieces: WidthPieces, planes: Plane[], private readonly settle: () => Promise<void>) {
    this.scales = { wall: makeScale(pieces.limits.wall, pieces.cap), gap: makeScale(pieces.limits.gap, pieces.cap) };
    this.material = widthsMaterial(planes);
    const count = pieces.wall.length / 3;
    for (let from = 0; from < count; from += PART) {
      const geometry = new BufferGeometry();
      geometry.setAttribute("position", new BufferAttribute(pieces.corners.subarray(9 * from, 9 * (from + PART)), 3));
      this.fine.push(this.mesh(geometry));
    }
  }

  /** Show one side. What is large goes to the graphics card in parts: all at once would hold the page. */
  async show(side: Side): Promise<void> {
    const mine = ++this.asked;
    this.side = side;
    const { band, bands, limit } = this.scales[side];
    const data = new Uint8Array(bands.flatMap(([r, g, b]) => [r, g, b, 255]));
    const ramp = new DataTexture(data, bands.length, 1, RGBAFormat, UnsignedByteType);
    ramp.minFilter = ramp.magFilter = NearestFilter;
    ramp.needsUpdate = true;
    const uniforms = this.material.uniforms;
    (uniforms.ramp!.value as DataTexture | null)?.dispose();
    uniforms.ramp!.value = ramp;
    uniforms.band!.value = band;
    uniforms.bands!.value = bands.length;
    uniforms.below!.value = limit === null ? 0 : limit * (1 - TOLERANCE);
    this.relabel();
    if (this.coarseWidths) this.coarse!.geometry.setAttribute("width", this.coarseWidths[side]);
    for (const { geometry } of this.fine) geometry.setDrawRange(0, 0);
    for (this.sent = 0; this.sent < this.fine.length; this.sent++) {
      this.fine[this.sent]!.geometry.setAttribute("width", this.widthsOf(side, this.sent));
      this.showParts();
      if (this.fine.length > 1) await this.settle();
      if (mine !== this.asked) return;
    }
    for (const { geometry } of this.fine) geometry.setDrawRange(0, Infinity);
    this.showParts();
  }

  /** Whether all of it can be drawn. */
  get there(): boolean {
    return this.sent === this.fine.length;
  }

  private widthsOf(side: Side, part: number): BufferAttribute {
    return (this.attributes[side][part] ??= new BufferAttribute(this.pieces[side].subarray(3 * PART * part, 3 * PART * (part + 1)), 1));
  }

  private mesh(geometry: BufferGeometry): Mesh<BufferGeometry> {
    const mesh = new Mesh(geometry, this.material);
    mesh.frustumCulled = false;
    this.group.add(mesh);
    return mesh;
  }

  /** Draw a coarse stand-in, each face of it in the colour of the face that it was; or all again. */
  hurry(coarse: Coarse | null, positions: ArrayLike<number>): void {
    if (coarse && !this.coarse) {
      const count = coarse.index.length;
      const corners = new Float32Array(3 * count);
      for (let i = 0; i < count; i++) for (let axis = 0; axis < 3; axis++) corners[3 * i + axis] = positions[3 * coarse.index[i]! + axis]!;
      const widthsOf = (all: Float32Array) => {
        const widths = new Float32Array(count);
        coarse.faces.forEach((face, i) => widths.fill(all[3 * this.pieces.first[face]!]!, 3 * i, 3 * i + 3));
        return new BufferAttribute(widths, 1);
      };
      const geometry = new BufferGeometry();
      geometry.setAttribute("position", new BufferAttribute(corners, 3));
      this.coarseWidths = { wall: widthsOf(this.pieces.wall), gap: widthsOf(this.pieces.gap) };
      geometry.setAttribute("width", this.coarseWidths[this.side]);
      this.coarse = this.mesh(geometry);
      this.coarse.renderOrder = this.fine[0]?.renderOrder ?? 0;
    }
    this.hurried = coarse !== null;
    this.showParts();
  }

  private showParts(): void {
    if (this.coarse) this.coarse.visible = this.hurried;
    // The part that is on its way is drawn as nothing, which sends it.
    this.fine.forEach((mesh, i) => { mesh.visible = i < this.sent ? !this.hurried : i === this.sent; });
  }

  /** Draw only what is below the limit, before a veiled body. */
  onlyBelow(on: boolean): void {
    this.material.uniforms.only!.value = on;
    for (const mesh of this.group.children) mesh.renderOrder = on ? -2 : 0;
  }

  recolour(part: string): void {
    // The shader writes what the screen shows; no conversion as for lit materials.
    const plain = (value: string) => new Color(value).convertLinearToSRGB();
    this.material.uniforms.none!.value = plain(part);
    this.material.uniforms.stripe!.value = new Color(1, 1, 1);
  }

  /** Say what is under the pointer: the piece of this face whose middle is nearest. */
  point(face: number | null, at: { x: number; y: number; z: number } | null): void {
    this.shown = null;
    if (face !== null && at !== null) {
      let best = Infinity;
      for (let i = this.pieces.first[face]!; i < this.pieces.first[face + 1]!; i++) {
        const c = 9 * i;
        const p = this.pieces.corners;
        const off =
          ((p[c]! + p[c + 3]! + p[c + 6]!) / 3 - at.x) ** 2 + ((p[c + 1]! + p[c + 4]! + p[c + 7]!) / 3 - at.y) ** 2 +
          ((p[c + 2]! + p[c + 5]! + p[c + 8]!) / 3 - at.z) ** 2;
        if (off < best) {
          best = off;
          this.shown = this.pieces[this.side][3 * i]!;
        }
      }
    }
    this.sayHere();
  }

  relabel(): void {
    const { band, bands, limit } = this.scales[this.side];
    const share = this.pieces.below[this.side];
    const boxes = bands.map((colour, i) => {
      const box = h("span", { class: `legend-band${limit !== null && i * band < limit - 1e-9 ? " legend-below" : ""}` });
      box.style.backgroundColor = `rgb(${colour.join(", ")})`;
      return box;
    });
    const every = bands.length > 5 ? 2 : 1;
    const marks = [...bands.keys(), bands.length].filter((i) => i % every === 0).map((i) => {
      const mark = h("span", { class: `legend-mark${limit !== null && Math.abs(i * band - limit) < 1e-9 ? " legend-limit" : ""}` }, length(i * band).replace(/ .*/, ""));
      mark.style.left = `${(100 * i) / bands.length}%`;
      return mark;
    });
    fill(
      this.legend,
      h("p", { class: "legend-title" }, text.widths.titles[this.side], " ", h("span", { class: "quiet" }, text.widths.unit(length(1).replace(/^.* /, "")))),
      h("div", { class: "legend-scale", "aria-hidden": "true" }, ...boxes),
      h("div", { class: "legend-marks", "aria-hidden": "true" }, ...marks),
      h("p", { class: "legend-words" }, limit === null ? text.widths.noLimit : text.widths.below(length(limit), share), " ", text.widths.more(length(bands.length * band))),
      this.here,
    );
    this.legend.setAttribute("aria-label", text.widths.titles[this.side]);
    this.sayHere();
  }

  dispose(): void {
    this.asked++;
    for (const { geometry } of [...this.fine, ...(this.coarse ? [this.coarse] : [])]) geometry.dispose();
    (this.material.uniforms.ramp!.value as DataTexture | null)?.dispose();
    this.material.dispose();
  }

  private sayHere(): void {
    const { band, bands } = this.scales[this.side];
    const at = this.shown;
    fill(this.here, at === null ? text.widths.point : at < bands.length * band ? text.widths.here(length(at)) : text.widths.hereMore(length(bands.length * band)));
  }
}
