// Compiles the programs that a view draws with, on a triangle, before they are needed: what asks the graphics card
// for an answer waits for all that it still has to draw.
import {
  AmbientLight, BufferAttribute, BufferGeometry, DirectionalLight, LineSegments, type Material, Mesh, OrthographicCamera, Plane,
  Scene, Vector3, type WebGLRenderer,
} from "three";
import { counter, edge, hatched, light, mark, markLine, seenThrough, surface, veil } from "./materials";
import { drawn } from "./pace";
import { widthsMaterial } from "./widths_material";

/** Time for one program to be compiled, ms. */
const TIME_MS = 20;

interface Ahead { lines?: boolean; material: Material }

/** What the first picture needs. */
const first = (): Ahead[] => [
  { material: surface() },
  { material: light() },
  { material: seenThrough(light()) },
  { material: edge(), lines: true },
];

/** What is needed when a finding is chosen, the body is cut, seen through, or coloured. */
function later(): Ahead[] {
  const cut = [new Plane(new Vector3(1, 0, 0), 0)];
  return [
    { material: seenThrough(surface()) },
    { material: veil([]) },
    { material: mark("#fff") },
    { material: markLine("#fff", 1), lines: true },
    { material: surface(cut) },
    { material: veil(cut) },
    { material: light(cut) },
    { material: edge(cut), lines: true },
    { material: counter(cut, true) },
    { material: counter(cut, false) },
    { material: hatched() },
    { material: seenThrough(surface(cut)) },
    { material: seenThrough(light(cut)) },
    { material: edge(cut, true), lines: true },
    { material: widthsMaterial([]) },
    { material: widthsMaterial(cut) },
  ];
}

/** Compile what the first picture needs, then `all` the rest. */
export async function compileAhead(renderer: WebGLRenderer): Promise<{ all: Promise<void> }> {
  await compile(renderer, first());
  return { all: compile(renderer, later()) };
}

/** The materials stay with the renderer: their programs would go with them. */
async function compile(renderer: WebGLRenderer, all: Ahead[]): Promise<void> {
  const geometry = new BufferGeometry();
  geometry.setAttribute("position", new BufferAttribute(new Float32Array(9), 3));
  geometry.setAttribute("width", new BufferAttribute(new Float32Array(3), 1));
  const camera = new OrthographicCamera();
  for (const { material, lines } of all) {
    const scene = new Scene();
    scene.add(new AmbientLight(), new DirectionalLight(), lines ? new LineSegments(geometry, material) : new Mesh(geometry, material));
    renderer.compile(scene, camera);
    await turn();
  }
  // The first use of a program asks for its inputs: asked here, each in its own turn, when the answers are there. Where
  // the graphics card cannot be asked whether a program is compiled, it gets a time that is enough for most.
  await drawn(renderer);
  if (!renderer.extensions.has("KHR_parallel_shader_compile")) await turn(TIME_MS * all.length);
  for (const program of [...((renderer.info.programs ?? []) as unknown as Program[])]) {
    while (!program.isReady() && !renderer.getContext().isContextLost()) await turn();
    program.getUniforms();
    program.getAttributes();
    await turn();
  }
}

/** What three.js keeps of a program; its types do not tell all of it. */
interface Program { isReady(): boolean; getUniforms(): unknown; getAttributes(): unknown }

/** Let the page's thread do something else. */
const turn = (ms = 0) => new Promise((resolve) => setTimeout(resolve, ms));
