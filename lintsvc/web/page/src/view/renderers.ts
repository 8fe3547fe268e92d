// The renderers that stages draw with. Making one can take long, so it is made ahead and handed on from stage to stage.
import { WebGLRenderer } from "three";
import { compileAhead } from "./compile_ahead";

/** Set by the build: the address of the worker that wakes the graphics card. */
declare const WARM_WORKER: string;

/** The worker that wakes the graphics card may itself fail; then the page's thread waits for the card. */
const MOST_MS = 5000;

let spare: WebGLRenderer | null = null;
let warming: Promise<void> | null = null;
/** Until everything that a view may draw with is compiled for the renderer that was made last. */
let whole: Promise<void> = Promise.resolve();

/** Make what a stage needs before there is anything to show: the page's thread must not wait for the graphics card. */
export function warmRenderer(): Promise<void> {
  if (spare) return Promise.resolve();
  warming ??= warm().finally(() => { warming = null; });
  return warming;
}

/** The same, and all that is needed later too: where a picture takes long, what is asked after it waits for it. */
export async function warmWhole(): Promise<void> {
  await warmRenderer();
  await whole;
}

async function warm(): Promise<void> {
  const worker = new Worker(WARM_WORKER, { type: "module" });
  await new Promise<void>((resolve) => {
    worker.onmessage = worker.onerror = () => resolve();
    setTimeout(resolve, MOST_MS);
  });
  const renderer = make();
  worker.terminate();
  // For tests: nothing is compiled from then on.
  whole = (await compileAhead(renderer)).all.then(() => { renderer.domElement.dataset.compiled = ""; });
  giveBack(renderer);
}

export function takeRenderer(): WebGLRenderer {
  const renderer = spare ?? make();
  spare = null;
  return renderer;
}

export function giveBack(renderer: WebGLRenderer): void {
  renderer.renderLists.dispose();
  renderer.domElement.remove();
  if (!spare) spare = renderer;
  else {
    renderer.dispose();
    renderer.forceContextLoss();
  }
}

function make(): WebGLRenderer {
  const renderer = new WebGLRenderer({ antialias: true, alpha: true, stencil: true });
  renderer.setPixelRatio(Math.min(devicePixelRatio, 2));
  renderer.localClippingEnabled = true;
  // Asking each program whether it was well compiled waits for the graphics card; ours are the same everywhere.
  renderer.debug.checkShaderErrors = false;
  return renderer;
}
