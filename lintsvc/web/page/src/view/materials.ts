// The materials that bodies are drawn with, in one place: what is compiled ahead is then what is drawn with.
import {
  AlwaysStencilFunc, BackSide, type BufferGeometry, Color, DecrementWrapStencilOp, DoubleSide, FrontSide, IncrementWrapStencilOp, LineBasicMaterial,
  type Material, MeshBasicMaterial, MeshLambertMaterial, NotEqualStencilFunc, type Plane, ReplaceStencilOp,
} from "three";

/** Flat shading needs no normals: they come from the triangle itself, which also shows facets as they are. */
export const surface = (clippingPlanes: Plane[] = []) =>
  new MeshLambertMaterial({ flatShading: true, side: DoubleSide, clippingPlanes, forceSinglePass: true });

/** Fills the depth of a veiled body, so that only its foremost faces are drawn. */
export const veil = (clippingPlanes: Plane[]) =>
  new MeshBasicMaterial({ side: DoubleSide, colorWrite: false, polygonOffset: true, polygonOffsetFactor: 1, polygonOffsetUnits: 1, clippingPlanes });

/** What is laid over the colour of a light, so that levels are told apart without colours. */
export const PATTERNS = { plain: 0, stripes: 1, dots: 2 } as const;
export type Pattern = keyof typeof PATTERNS;

/** Drawn just in front of the body's own faces; with a pattern, and with thin lines where a face is seen from behind. */
export function light(clippingPlanes: Plane[] = []): MeshBasicMaterial {
  const material = new MeshBasicMaterial({
    side: DoubleSide, polygonOffset: true, polygonOffsetFactor: -1, polygonOffsetUnits: -1, clippingPlanes, forceSinglePass: true,
  });
  Object.assign(material.userData, { pattern: { value: 0 }, ink: { value: new Color() } });
  material.onBeforeCompile = (shader) => {
    const { pattern, ink } = material.userData as LightPattern;
    Object.assign(shader.uniforms, { pattern, ink });
    shader.fragmentShader = shader.fragmentShader
      .replace("void main() {", "uniform float pattern;\nuniform vec3 ink;\nvoid main() {")
      .replace(
        "#include <opaque_fragment>",
        `vec2 at = gl_FragCoord.xy;
vec2 dot0 = mod(at, 10.0) - 5.0;
bool inked = pattern > 1.5 ? dot(dot0, dot0) < 6.0 : pattern > 0.5 && mod(at.x + at.y, 13.0) < 4.0;
if (inked || (!gl_FrontFacing && mod(at.x - at.y, 8.0) < 1.5)) outgoingLight = mix(outgoingLight, ink, 0.8);
#include <opaque_fragment>`,
      );
  };
  return material;
}

interface LightPattern { pattern: { value: number }; ink: { value: Color } }

/** `ink`: what the pattern is drawn with. */
export function setPattern(material: MeshBasicMaterial, pattern: Pattern, ink: string): void {
  const { pattern: which, ink: colour } = material.userData as LightPattern;
  which.value = PATTERNS[pattern];
  colour.value.set(new Color(ink));
}

/** Edges: as they are, or faintly those behind a veiled body. */
export const edge = (clippingPlanes: Plane[] = [], hidden = false) =>
  new LineBasicMaterial({ clippingPlanes, transparent: hidden, opacity: hidden ? 0.3 : 1, depthTest: !hidden });

/** Drawn over everything. */
export const markLine = (colour: string, opacity: number) => new LineBasicMaterial({ color: new Color(colour), depthTest: false, transparent: true, opacity });
export const mark = (colour: string, opacity = 1) => new MeshBasicMaterial({ color: new Color(colour), depthTest: false, transparent: true, opacity });

/** Two passes over a cut body that leave a count above zero where the cut goes through its inside. */
export const counter = (clippingPlanes: Plane[], back: boolean) => {
  const op = back ? IncrementWrapStencilOp : DecrementWrapStencilOp;
  return new MeshBasicMaterial({
    side: back ? BackSide : FrontSide, colorWrite: false, depthWrite: false, depthTest: false, stencilWrite: true,
    stencilFunc: AlwaysStencilFunc, stencilFail: op, stencilZFail: op, stencilZPass: op, clippingPlanes,
  });
};

/** Closes the cut: slanting lines at a fixed distance on the screen. */
export function hatched(): MeshBasicMaterial {
  const material = new MeshBasicMaterial({
    side: DoubleSide, stencilWrite: true, stencilRef: 0, stencilFunc: NotEqualStencilFunc, stencilFail: ReplaceStencilOp,
    stencilZFail: ReplaceStencilOp, stencilZPass: ReplaceStencilOp,
  });
  material.userData.ink = { value: new Color() };
  material.onBeforeCompile = (shader) => {
    shader.uniforms.ink = material.userData.ink as { value: Color };
    shader.fragmentShader = shader.fragmentShader
      .replace("void main() {", "uniform vec3 ink;\nvoid main() {")
      .replace(
        "#include <opaque_fragment>",
        "outgoingLight = mix(outgoingLight, ink, step(mod(gl_FragCoord.x - gl_FragCoord.y, 9.0), 1.6));\n#include <opaque_fragment>",
      );
  };
  return material;
}

/** Only places: with anything more a shape would need a program of its own. */
export function bare<T extends BufferGeometry>(geometry: T): T {
  return geometry.deleteAttribute("normal").deleteAttribute("uv") as T;
}

export function seenThrough<T extends Material>(material: T): T {
  material.transparent = true;
  return material;
}
