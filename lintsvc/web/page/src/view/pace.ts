// Notices where pictures take long, and lets fewer faces be drawn while the view moves there.
import type { WebGLRenderer } from "three";

/** A whole picture that takes longer than this is too slow to be turned, ms. */
const SLOW_MS = 60;
/** The view rests when it has not moved for so long, ms: the whole picture would hold up the next move. */
const REST_MS = 250;

/** Wait until the graphics card has done all that it was given, without holding the page's thread. */
export async function drawn(renderer: WebGLRenderer): Promise<void> {
  const gl = renderer.getContext() as WebGL2RenderingContext;
  const fence = gl.fenceSync(gl.SYNC_GPU_COMMANDS_COMPLETE, 0);
  gl.flush();
  while (fence && !gl.isContextLost() && gl.getSyncParameter(fence, gl.SYNC_STATUS) !== gl.SIGNALED) {
    await new Promise((resolve) => setTimeout(resolve, 10));
  }
  gl.deleteSync(fence);
}

export class Pace {
  /** Called when less is to be drawn, and when all is again. */
  hurry: ((on: boolean) => void) | null = null;
  /** Slow once is slow for good. */
  private slow = false;
  private hurried = false;
  private timing = false;
  private timer = 0;

  constructor(private readonly renderer: WebGLRenderer, private readonly draw: () => void) {}

  /** The view moves. */
  moved(): void {
    if (!this.slow || !this.hurry) return;
    if (!this.hurried) {
      this.hurried = true;
      this.hurry(true);
    }
    clearTimeout(this.timer);
    this.timer = setTimeout(() => {
      this.hurried = false;
      this.hurry?.(false);
      this.draw();
    }, REST_MS) as unknown as number;
  }

  /** A picture was just given to the graphics card. */
  async pictured(): Promise<void> {
    if (this.slow || this.timing) return;
    this.timing = true;
    const began = performance.now();
    await drawn(this.renderer);
    this.timing = false;
    this.slow = performance.now() - began > SLOW_MS;
  }

  dispose(): void {
    clearTimeout(this.timer);
  }
}
