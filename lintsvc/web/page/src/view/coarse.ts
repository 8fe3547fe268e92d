// A coarse stand-in for a fine body, drawn while it is turned where the graphics card is too slow for all of it.
import type { BodyGeometry } from "./decode";

/** Bodies up to this are fast enough everywhere. */
export const WORTH_IT = 250_000;
/** So many faces at most, by level: the second where even the first is slow, as without a graphics card. */
const ABOUT = [50_000, 10_000];

/** Triangles between the body's own vertices, and the face that each of them was, in ascending order. */
export interface Coarse { index: Uint32Array<ArrayBuffer>; faces: Uint32Array<ArrayBuffer> }

/** Fewer triangles, by level: vertices of one cell become one. None where it is not worth it. */
export function* coarsen(body: BodyGeometry): Generator<Coarse, void> {
  if (body.triangles < WORTH_IT) return;
  let cells = 220;
  for (const most of ABOUT) {
    for (;;) {
      const made = cluster(body, cells);
      if (made.faces.length <= most || cells < 20) {
        yield made;
        break;
      }
      // A surface crosses about as many cells as its size in cells squared; coarser until it is few enough.
      cells = Math.floor(cells * Math.min(0.75, 1.1 * Math.sqrt(most / made.faces.length)));
    }
  }
}

function cluster({ positions, index, vertices, box }: BodyGeometry, cells: number): Coarse {
  const longest = Math.max(1e-9, ...box[1].map((high, axis) => high - box[0][axis]!));
  const scale = cells / longest;
  const stands = new Uint32Array(vertices);
  const first = new Map<number, number>();
  for (let i = 0; i < vertices; i++) {
    const x = Math.floor((positions[3 * i]! - box[0][0]) * scale);
    const y = Math.floor((positions[3 * i + 1]! - box[0][1]) * scale);
    const z = Math.floor((positions[3 * i + 2]! - box[0][2]) * scale);
    const cell = (x * 1024 + y) * 1024 + z;
    const known = first.get(cell);
    if (known === undefined) first.set(cell, i);
    stands[i] = known ?? i;
  }
  const kept = new Uint32Array(index.length);
  const faces = new Uint32Array(index.length / 3);
  let count = 0;
  for (let i = 0; i < index.length; i += 3) {
    const a = stands[index[i]!]!;
    const b = stands[index[i + 1]!]!;
    const c = stands[index[i + 2]!]!;
    if (a === b || b === c || c === a) continue;
    faces[count] = i / 3;
    kept[3 * count] = a;
    kept[3 * count + 1] = b;
    kept[3 * count + 2] = c;
    count++;
  }
  return { index: kept.slice(0, 3 * count), faces: faces.slice(0, count) };
}
