// A flat as it was sent (see `encode_sheet` in lintsvc/reports/geometry.py), and its shapes as paths of SVG.

export type FlatShape =
  | { line: [number, number, number, number] }
  | { arc: [number, number, number, number, number] }
  | { circle: [number, number, number] }
  | { polyline: number[] };

interface FlatBend {
  line: [number, number, number, number];
  angle_deg: number | null;
  direction: string | null;
  radius_mm: number | null;
  /** How far its zone reaches to each side of the line. */
  half_mm: number | null;
  entity: number | null;
}
export interface FlatGeometry {
  /** Around all that is drawn. */
  box: [[number, number], [number, number]];
  /** Around the part itself: its size. */
  part_box: [[number, number], [number, number]];
  thickness_mm: number | null;
  entities: { number: number; role: string; layer: string; text: string; role_why: string; shapes: FlatShape[] }[];
  contours: { points: number[]; hole: boolean }[];
  bends: FlatBend[];
  holes: { diameter_mm: number; centre: [number, number]; entities: number[] }[];
  kerf_mm: [number, number] | null;
}

export const round = (x: number) => Math.round(x * 1e4) / 1e4;

/** SVG path data of one shape; y grows upwards in the part and downwards on the screen. */
export function pathOf(shape: FlatShape): string {
  if ("line" in shape) {
    const [x0, y0, x1, y1] = shape.line;
    return `M${round(x0)} ${round(-y0)}L${round(x1)} ${round(-y1)}`;
  }
  if ("circle" in shape) {
    const [x, y, r] = shape.circle;
    return `M${round(x - r)} ${round(-y)}a${r} ${r} 0 1 0 ${2 * r} 0a${r} ${r} 0 1 0 ${-2 * r} 0`;
  }
  if ("arc" in shape) {
    const [x, y, r, start, end] = shape.arc;
    const a = (start * Math.PI) / 180;
    const sweep = (((end - start) % 360) + 360) % 360 || 360;
    const b = a + (sweep * Math.PI) / 180;
    const from = `M${round(x + r * Math.cos(a))} ${round(-(y + r * Math.sin(a)))}`;
    return `${from}A${r} ${r} 0 ${sweep > 180 ? 1 : 0} 0 ${round(x + r * Math.cos(b))} ${round(-(y + r * Math.sin(b)))}`;
  }
  const points = shape.polyline;
  let path = "";
  for (let i = 0; i + 1 < points.length; i += 2) path += `${i ? "L" : "M"}${round(points[i]!)} ${round(-points[i + 1]!)}`;
  return path;
}

/** How far a place is from a shape, mm. */
export function offShape(shape: FlatShape, x: number, y: number): number {
  if ("circle" in shape) return Math.abs(Math.hypot(x - shape.circle[0], y - shape.circle[1]) - shape.circle[2]);
  if ("arc" in shape) {
    const [cx, cy, r, start, end] = shape.arc;
    const turned = (angle: number) => (((angle - start) % 360) + 360) % 360;
    if (turned((Math.atan2(y - cy, x - cx) * 180) / Math.PI) <= (turned(end) || 360)) return Math.abs(Math.hypot(x - cx, y - cy) - r);
    return Math.min(...[start, end].map((angle) => {
      const a = (angle * Math.PI) / 180;
      return Math.hypot(x - cx - r * Math.cos(a), y - cy - r * Math.sin(a));
    }));
  }
  const points = "line" in shape ? shape.line : shape.polyline;
  let off = Infinity;
  for (let i = 0; i + 3 < points.length; i += 2) off = Math.min(off, offLine(x, y, points[i]!, points[i + 1]!, points[i + 2]!, points[i + 3]!));
  return off;
}

export function offLine(x: number, y: number, ax: number, ay: number, bx: number, by: number): number {
  const square = (bx - ax) ** 2 + (by - ay) ** 2;
  const share = square ? Math.min(1, Math.max(0, ((x - ax) * (bx - ax) + (y - ay) * (by - ay)) / square)) : 0;
  return Math.hypot(x - ax - share * (bx - ax), y - ay - share * (by - ay));
}
