// Faces lit on a body: meshes that share its vertices, drawn just in front of its own faces.
import { type BufferGeometry, Color, Mesh, type MeshBasicMaterial, type Plane } from "three";
import type { Level } from "../report";
import type { Coarse } from "./coarse";
import { colours } from "./colours";
import { type Pattern, light, setPattern } from "./materials";
import type { Sender } from "./send";

export type Runs = [number, number][];

export type Light = Mesh<BufferGeometry, MeshBasicMaterial>;

/** `faces`: three corners of each face of the whole body. */
export function makeLight(whole: BufferGeometry, faces: Uint32Array, runs: Runs, planes: Plane[], sender: Sender): Light {
  const count = runs.reduce((sum, [, n]) => sum + n, 0);
  // All of it is there already.
  const all = 3 * count === faces.length;
  const index = new Uint32Array(all ? 0 : 3 * count);
  let at = 0;
  if (!all) for (const [first, n] of runs) {
    index.set(faces.subarray(3 * first, 3 * (first + n)), at);
    at += 3 * n;
  }
  const mesh = new Mesh(all ? whole : sender.sharing(whole, index), light(planes));
  mesh.frustumCulled = false;
  return mesh;
}

/** What of a coarse stand-in stands for the faces of runs. */
export function coarseOf({ index, faces }: Coarse, runs: Runs): Uint32Array<ArrayBuffer> {
  const kept: number[] = [];
  let at = 0;
  // Both are in ascending order.
  for (const [first, count] of runs) {
    while (at < faces.length && faces[at]! < first) at++;
    for (; at < faces.length && faces[at]! < first + count; at++) kept.push(index[3 * at]!, index[3 * at + 1]!, index[3 * at + 2]!);
  }
  return new Uint32Array(kept);
}

/** As in the flat: errors are drawn through, warnings broken, notes in dots. */
export const PATTERN_OF: Record<Level, Pattern> = { error: "plain", warning: "stripes", note: "dots" };

/** How a light is drawn: before a veiled body it shines through it, after a solid one it lies on it. */
export function setLight(mesh: Light, colour: string, opacity: number, through: boolean, pattern: Pattern = "plain"): void {
  const material = mesh.material;
  material.color.set(new Color(colour));
  material.opacity = opacity;
  setPattern(material, pattern, colours().ground);
  const transparent = !through && opacity < 1;
  if (material.transparent !== transparent) {
    material.transparent = transparent;
    material.needsUpdate = true;
  }
  mesh.visible = opacity > 0;
  mesh.renderOrder = through ? -2 : 3;
}

/** The faces of runs, one by one. */
export function facesOf(runs: Runs): number[] {
  const faces: number[] = [];
  for (const [first, count] of runs) for (let i = 0; i < count; i++) faces.push(first + i);
  return faces;
}
