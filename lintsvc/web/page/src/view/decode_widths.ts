// Unpacks wall and gap widths ("LSW1", described in lintsvc/reports/geometry_widths.py) into pieces of the body's faces.
import type { BodyGeometry } from "./decode";

export interface WidthLimit { value: number; rule: string }
export interface WidthPieces {
  /** Corners of the pieces, nine numbers each: pieces share none, so that each has one colour. */
  corners: Float32Array;
  /** Widths in mm, one a corner, the same three times; very large where nothing is near. */
  wall: Float32Array;
  gap: Float32Array;
  /** Share of the surface that is below the limit; 0 where there is no limit. */
  below: { wall: number; gap: number };
  /** The first piece of each face, and at the end how many pieces there are. */
  first: Uint32Array;
  cap: number;
  limits: { wall?: WidthLimit; gap?: WidthLimit };
}

interface Header {
  triangles: number;
  splits: number;
  pieces: number;
  step: number;
  cap: number;
  limits: WidthPieces["limits"];
}

const NOTHING = 65535;
/** For "nothing near": a number that every graphics card has. */
const FAR = 1e9;
/** A wall thinner by this share than its limit is thin; the rules allow as much for rounding. */
export const TOLERANCE = 0.005;

/** Unpack; throws when the bytes are no widths of this body. */
export function decodeWidths(buffer: ArrayBuffer, body: BodyGeometry): WidthPieces {
  const view = new DataView(buffer);
  if (buffer.byteLength < 8 || view.getUint32(0, false) !== 0x4c535731) throw new Error("no widths");
  const headerLength = view.getUint32(4, true);
  const header = JSON.parse(new TextDecoder().decode(new Uint8Array(buffer, 8, headerLength))) as Header;
  const { splits, pieces, step } = header;
  const start = 8 + headerLength;
  if (header.triangles !== body.triangles || buffer.byteLength < start + splits + 4 * pieces) throw new Error("the widths are of another body");
  const codes = new Uint8Array(buffer, start, splits);

  const corners = new Float32Array(9 * pieces);
  const first = new Uint32Array(body.triangles + 1);
  let code = 0;
  let piece = 0;
  const split = (ax: number, ay: number, az: number, bx: number, by: number, bz: number, cx: number, cy: number, cz: number): void => {
    const edge = codes[code++]!;
    if (edge === 0) {
      const at = 9 * piece++;
      corners[at] = ax; corners[at + 1] = ay; corners[at + 2] = az;
      corners[at + 3] = bx; corners[at + 4] = by; corners[at + 5] = bz;
      corners[at + 6] = cx; corners[at + 7] = cy; corners[at + 8] = cz;
    } else if (edge === 1) {
      const x = (ax + bx) / 2, y = (ay + by) / 2, z = (az + bz) / 2;
      split(ax, ay, az, x, y, z, cx, cy, cz);
      split(x, y, z, bx, by, bz, cx, cy, cz);
    } else if (edge === 2) {
      const x = (bx + cx) / 2, y = (by + cy) / 2, z = (bz + cz) / 2;
      split(ax, ay, az, bx, by, bz, x, y, z);
      split(ax, ay, az, x, y, z, cx, cy, cz);
    } else {
      const x = (cx + ax) / 2, y = (cy + ay) / 2, z = (cz + az) / 2;
      split(x, y, z, bx, by, bz, cx, cy, cz);
      split(ax, ay, az, bx, by, bz, x, y, z);
    }
  };
  const { positions: p, index } = body;
  for (let f = 0; f < body.triangles; f++) {
    first[f] = piece;
    const a = 3 * index[3 * f]!, b = 3 * index[3 * f + 1]!, c = 3 * index[3 * f + 2]!;
    split(p[a]!, p[a + 1]!, p[a + 2]!, p[b]!, p[b + 1]!, p[b + 2]!, p[c]!, p[c + 1]!, p[c + 2]!);
  }
  first[body.triangles] = piece;
  if (piece !== pieces || code !== splits) throw new Error("the widths do not fit the body");

  const side = (from: number): Float32Array => {
    const low = new Uint8Array(buffer, from, pieces);
    const high = new Uint8Array(buffer, from + pieces, pieces);
    const width = new Float32Array(3 * pieces);
    for (let i = 0; i < pieces; i++) {
      const number = low[i]! | (high[i]! << 8);
      width[3 * i] = width[3 * i + 1] = width[3 * i + 2] = number === NOTHING ? FAR : number * step;
    }
    return width;
  };
  const wall = side(start + splits);
  const gap = side(start + splits + 2 * pieces);
  const area = areas(corners);
  const below = (widths: Float32Array, limit: WidthLimit | undefined): number => {
    let some = 0;
    let all = 0;
    for (let i = 0; i < pieces; i++) {
      all += area[i]!;
      if (limit && widths[3 * i]! < limit.value * (1 - TOLERANCE)) some += area[i]!;
    }
    return all > 0 ? some / all : 0;
  };
  return {
    corners, first, wall, gap, cap: header.cap, limits: header.limits,
    below: { wall: below(wall, header.limits.wall), gap: below(gap, header.limits.gap) },
  };
}

function areas(corners: Float32Array): Float32Array {
  const area = new Float32Array(corners.length / 9);
  for (let i = 0; i < area.length; i++) {
    const at = 9 * i;
    const ux = corners[at + 3]! - corners[at]!, uy = corners[at + 4]! - corners[at + 1]!, uz = corners[at + 5]! - corners[at + 2]!;
    const vx = corners[at + 6]! - corners[at]!, vy = corners[at + 7]! - corners[at + 1]!, vz = corners[at + 8]! - corners[at + 2]!;
    area[i] = Math.hypot(uy * vz - uz * vy, uz * vx - ux * vz, ux * vy - uy * vx) / 2;
  }
  return area;
}
