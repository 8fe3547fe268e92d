// Where the words of a dimension in the flat view stand.
import type { Point } from "../report";

/** They are about so wide, pixels. */
const WORDS_PX = 72;

/** Where the length of a distance is written: on it, or beside one that it would cover, away from the middle. */
export function besideShort([a, b]: [Point, Point], px: number, middle: [number, number]): [number, number] {
  const [x, y] = [(a[0] + b[0]) / 2, (a[1] + b[1]) / 2];
  const long = Math.hypot(b[0] - a[0], b[1] - a[1]);
  if (long > WORDS_PX * px || long === 0) return [x, y];
  let [nx, ny] = [-(b[1] - a[1]) / long, (b[0] - a[0]) / long];
  if (nx * (x - middle[0]) + ny * (y - middle[1]) < 0) [nx, ny] = [-nx, -ny];
  // Half of the words, wider than high, and the line across the end.
  const by = (12 + Math.abs(nx) * (WORDS_PX / 2) + Math.abs(ny) * 10) * px;
  return [x + nx * by, y + ny * by];
}
