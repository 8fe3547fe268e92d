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
  /** Called when less is to be drawn, and when all is again: 0 is all, more is coarser. */
  hurry: ((level: number) => void) | null = null;
  /** The coarsest level that there is. */
  levels = 0;
  /** Somebody holds the view: it moves on, however long one picture takes. */
  private held = false;
  /** What is drawn while it moves. Slow once is slow for good; a coarse one that is slow twice becomes coarser. */
  private moving = 0;
  private slowAgain = 0;
  private level = 0;
  private timing = false;
  /** How long the last coarse picture took, ms. */
  private took = 0;
  private timer = 0;

  constructor(private readonly renderer: WebGLRenderer, private readonly draw: () => void) {}

  hold(on: boolean): void {
    this.held = on;
    if (this.level) this.restLater();
  }

  /** The view moves. */
  moved(): void {
    const level = Math.min(this.moving, this.levels);
    if (!level || !this.hurry) return;
    this.switchTo(level);
    this.restLater();
  }

  /** A picture was just given to the graphics card. */
  async pictured(): Promise<void> {
    const { level } = this;
    if (this.timing || (!level && this.moving)) return;
    this.timing = true;
    const began = performance.now();
    await drawn(this.renderer);
    this.timing = false;
    const took = performance.now() - began;
    if (level) this.took = took;
    if (took <= SLOW_MS) this.slowAgain = 0;
    else if (!level) this.moving = Math.max(1, this.moving);
    else if (level === this.moving && level < this.levels && ++this.slowAgain > 1) {
      this.moving++;
      this.slowAgain = 0;
    }
  }

  dispose(): void {
    clearTimeout(this.timer);
  }

  private switchTo(level: number): void {
    if (this.level === level) return;
    this.level = level;
    this.hurry?.(level);
  }

  private restLater(): void {
    clearTimeout(this.timer);
    // Where even a coarse picture takes long, the next move comes later too: a whole picture must not fall in between.
    this.timer = setTimeout(() => {
      if (this.held || this.timing) return this.restLater();
      this.switchTo(0);
      this.draw();
    }, Math.max(REST_MS, 2 * this.took)) as unknown as number;
  }
}
