// The edges of a body that are worth a line: where the surface turns, and where it ends.

const TURN_DEG = 25;
/** More lines than this are noise, and slow. */
const MOST = 400_000;

/** Ends of the edges, [x, y, z, x, y, z] each; none where they would be too many. */
export function findEdges(positions: Float32Array, index: Uint32Array): Float32Array<ArrayBuffer> {
  const triangles = index.length / 3;
  const normals = normalsOf(positions, index);
  // An edge is looked up by both its vertices in a table of open addresses.
  let size = 1024;
  while (size < 3 * triangles) size *= 2;
  const low = new Int32Array(size).fill(-1);
  const high = new Int32Array(size);
  const face = new Int32Array(size);
  const drawn = new Uint8Array(size);
  const least = Math.cos((TURN_DEG * Math.PI) / 180);
  let count = 0;
  for (let f = 0; f < triangles; f++) {
    for (let k = 0; k < 3; k++) {
      const i = index[3 * f + k]!;
      const j = index[3 * f + ((k + 1) % 3)]!;
      if (i === j) continue;
      const a = i < j ? i : j;
      const b = i < j ? j : i;
      let slot = (Math.imul(a, 0x9e3779b1) ^ Math.imul(b, 0x85ebca6b)) & (size - 1);
      while (low[slot] !== -1 && (low[slot] !== a || high[slot] !== b)) slot = (slot + 1) & (size - 1);
      if (low[slot] === -1) {
        low[slot] = a;
        high[slot] = b;
        face[slot] = f;
        drawn[slot] = 1; // an open end, until another face is met
        count++;
        continue;
      }
      const g = 3 * face[slot]!;
      const turn = normals[3 * f]! * normals[g]! + normals[3 * f + 1]! * normals[g + 1]! + normals[3 * f + 2]! * normals[g + 2]!;
      const flat = turn >= least;
      if (drawn[slot] === 1 && flat) count--;
      else if (drawn[slot] === 0 && !flat) count++;
      drawn[slot] = flat ? 0 : 2;
    }
  }
  if (count > MOST) return new Float32Array(0);
  const ends = new Float32Array(6 * count);
  let at = 0;
  for (let slot = 0; slot < size; slot++) {
    if (low[slot] === -1 || drawn[slot] === 0) continue;
    for (const vertex of [low[slot]!, high[slot]!]) {
      ends[at++] = positions[3 * vertex]!;
      ends[at++] = positions[3 * vertex + 1]!;
      ends[at++] = positions[3 * vertex + 2]!;
    }
  }
  return ends;
}

/** Unit normals of the faces; a face without a direction has none. */
function normalsOf(positions: Float32Array, index: Uint32Array): Float32Array {
  const normals = new Float32Array(index.length);
  for (let i = 0; i < index.length; i += 3) {
    const a = 3 * index[i]!;
    const b = 3 * index[i + 1]!;
    const c = 3 * index[i + 2]!;
    const ux = positions[b]! - positions[a]!;
    const uy = positions[b + 1]! - positions[a + 1]!;
    const uz = positions[b + 2]! - positions[a + 2]!;
    const vx = positions[c]! - positions[a]!;
    const vy = positions[c + 1]! - positions[a + 1]!;
    const vz = positions[c + 2]! - positions[a + 2]!;
    const x = uy * vz - uz * vy;
    const y = uz * vx - ux * vz;
    const z = ux * vy - uy * vx;
    const length = Math.hypot(x, y, z) || 1;
    normals[i] = x / length;
    normals[i + 1] = y / length;
    normals[i + 2] = z / length;
  }
  return normals;
}
