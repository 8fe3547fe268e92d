// Sends a body to the graphics card in pieces, one a turn of the page's thread: all at once would hold the page.
import { type BufferAttribute, BufferGeometry, GLBufferAttribute, type WebGLRenderer } from "three";

/** Bytes that are sent in one turn: a millisecond or two. */
const PIECE = 1 << 20;

type Numbers = Float32Array<ArrayBuffer> | Uint32Array<ArrayBuffer>;
interface Load { array: Numbers; attribute: GLBufferAttribute; sent: number }

/** Let the page's thread do something else. */
export const turn = () => new Promise((resolve) => setTimeout(resolve));

export class Sender {
  private readonly gl: WebGL2RenderingContext;
  /** All that was sent, to be sent again where the card forgets it. */
  private loads: Load[] = [];
  private sending: Promise<void> | null = null;
  private readonly again = () => {
    for (const load of this.loads) {
      load.attribute.setBuffer(this.make(load.array));
      load.sent = 0;
    }
    this.sending = null;
    void this.whole().then(() => this.draw());
  };

  constructor(private readonly renderer: WebGLRenderer, private readonly draw: () => void) {
    this.gl = renderer.getContext() as WebGL2RenderingContext;
    renderer.domElement.addEventListener("webglcontextrestored", this.again);
  }

  /** Places, three numbers each; or, of whole numbers, an index. It is there when `whole` is. */
  attribute(array: Numbers): BufferAttribute {
    const { gl } = this;
    const places = array instanceof Float32Array;
    const size = places ? 3 : 1;
    const attribute = new GLBufferAttribute(this.make(array), places ? gl.FLOAT : gl.UNSIGNED_INT, size, 4, array.length / size);
    this.loads.push({ array, attribute, sent: 0 });
    // Drawn like any other attribute; only the types of three.js tell them apart.
    return attribute as unknown as BufferAttribute;
  }

  /** A geometry of some faces that shares a body's vertices. */
  sharing(whole: BufferGeometry, index: Uint32Array<ArrayBuffer>): BufferGeometry {
    const some = new BufferGeometry();
    some.setAttribute("position", whole.getAttribute("position"));
    some.setIndex(this.attribute(index));
    // Else it would be worked out from all vertices of the part.
    some.boundingSphere = whole.boundingSphere;
    return some;
  }

  /** Let go of a geometry that shares a body's vertices, but not of these. */
  forget(some: BufferGeometry): void {
    const index = some.index as unknown as GLBufferAttribute;
    this.loads = this.loads.filter((x) => x.attribute !== index);
    some.deleteAttribute("position").dispose();
    this.gl.deleteBuffer(index.buffer);
  }

  /** Until all is there that was given so far. */
  whole(): Promise<void> {
    if (this.sending) return this.sending;
    const sending = this.send();
    // What is small was sent in this turn.
    if (this.next()) this.sending = sending;
    return sending;
  }

  dispose(): void {
    this.renderer.domElement.removeEventListener("webglcontextrestored", this.again);
    for (const { attribute } of this.loads) this.gl.deleteBuffer(attribute.buffer);
    this.loads = [];
  }

  private make(array: Numbers): WebGLBuffer {
    const { gl } = this;
    const buffer = gl.createBuffer();
    const target = array instanceof Float32Array ? gl.ARRAY_BUFFER : gl.ELEMENT_ARRAY_BUFFER;
    // An index belongs to what is bound; what the renderer has bound must keep its own.
    gl.bindVertexArray(null);
    gl.bindBuffer(target, buffer);
    gl.bufferData(target, array.byteLength, gl.STATIC_DRAW);
    gl.bindBuffer(target, null);
    this.renderer.resetState();
    return buffer;
  }

  private async send(): Promise<void> {
    const { gl } = this;
    let left = PIECE;
    for (let load = this.next(); load && !gl.isContextLost(); load = this.next()) {
      const { array, attribute } = load;
      const count = Math.min(array.length - load.sent, left / 4);
      // This target leaves alone what the renderer has bound.
      gl.bindBuffer(gl.COPY_WRITE_BUFFER, attribute.buffer);
      gl.bufferSubData(gl.COPY_WRITE_BUFFER, 4 * load.sent, array, load.sent, count);
      gl.bindBuffer(gl.COPY_WRITE_BUFFER, null);
      load.sent += count;
      left -= 4 * count;
      if (left > 0) continue;
      left = PIECE;
      await turn();
    }
    // Here and not when the promise has ended: what is given in between would be waited for in vain.
    this.sending = null;
  }

  private next(): Load | undefined {
    return this.loads.find((x) => x.sent < x.array.length);
  }
}
