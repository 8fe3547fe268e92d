// Unpacks the body format "LSG1" (described in lintsvc/reports/geometry.py). Triangle i of the result is face i of
// every finding's runs.

export interface BodyGeometry {
  positions: Float32Array;
  index: Uint32Array;
  triangles: number;
  vertices: number;
  /** The least and the greatest coordinates. */
  box: [[number, number, number], [number, number, number]];
  /** Half a grid step: how far a drawn vertex may lie from the true one, mm. */
  error_mm: number;
}

interface Header {
  triangles: number;
  vertices: number;
  origin: [number, number, number];
  step: number;
}

/** Unpack; throws when the bytes are not a body. */
export function decodeBody(buffer: ArrayBuffer): BodyGeometry {
  const view = new DataView(buffer);
  if (buffer.byteLength < 8 || view.getUint32(0, false) !== 0x4c534731) throw new Error("not a body");
  const headerLength = view.getUint32(4, true);
  const header = JSON.parse(new TextDecoder().decode(new Uint8Array(buffer, 8, headerLength))) as Header;
  const { triangles, vertices, origin, step } = header;
  const count = 3 * triangles;
  let at = 8 + headerLength;
  const bytes = new Uint8Array(buffer);
  if (bytes.length < at + 4 * count + 6 * vertices) throw new Error("the body is cut short");

  const index = new Uint32Array(count);
  let high = 0;
  const b1 = at + count;
  const b2 = b1 + count;
  const b3 = b2 + count;
  for (let i = 0; i < count; i++) {
    const code = bytes[at + i]! | (bytes[b1 + i]! << 8) | (bytes[b2 + i]! << 16) | (bytes[b3 + i]! << 24);
    index[i] = high - code;
    if (code === 0) high++;
  }
  at += 4 * count;

  const positions = new Float32Array(3 * vertices);
  const box: BodyGeometry["box"] = [[0, 0, 0], [0, 0, 0]];
  for (let axis = 0; axis < 3; axis++) {
    const low = at + 2 * axis * vertices;
    const top = low + vertices;
    const start = origin[axis]!;
    let value = 0;
    let least = 0xffff;
    let most = 0;
    for (let i = 0; i < vertices; i++) {
      const code = bytes[low + i]! | (bytes[top + i]! << 8);
      value = (value + ((code >> 1) ^ -(code & 1))) & 0xffff;
      positions[3 * i + axis] = start + step * value;
      if (value < least) least = value;
      if (value > most) most = value;
    }
    if (vertices) [box[0][axis], box[1][axis]] = [start + step * least, start + step * most];
  }
  return { positions, index, triangles, vertices, box, error_mm: step / 2 };
}
