// The report as the service sends it: the JSON contract of `lintsvc schema`.

export type Level = "error" | "warning" | "note";
export type Point = [number, number, number];

export interface Quantity { value: number; unit: string }
export interface Source { kind: string; text: string }
export interface Where {
  point: Point;
  box: [Point, Point];
  faces?: number[];
  entities?: number[];
  lines?: [Point, Point][];
  span?: [Point, Point] | null;
}
export interface Finding {
  fingerprint: string;
  rule: string;
  level: Level;
  rank: number;
  message: string;
  measured: Quantity | null;
  limit: (Quantity & { source: Source }) | null;
  where: Where | null;
  remedy: string;
  caution?: string;
  /** What `lintsvc mend` does about it. */
  fix?: string;
  /** The choice of the check that settles it as well. */
  settles?: string;
  sure?: number;
  set_aside?: string;
}
export interface PartShown {
  kind: "body" | "sheet";
  units: { value: string; stated: boolean; why: string; other?: string | null; other_size_mm?: Point | null };
  size_mm: Point;
  volume_mm3?: number | null;
  area_mm2?: number | null;
  mass_g?: number | null;
  triangles?: number;
  bodies?: number;
  watertight?: boolean;
  thickness_mm?: number | null;
  flat_mm?: [number, number];
  contours?: number;
  holes?: { diameter_mm: number; centre_mm: number[] }[];
  bends?: { angle_deg: number | null; direction: string | null; radius_mm: number | null; k_factor: number | null }[];
}
export interface PartReport {
  file: string;
  sha256: string;
  format?: string;
  process: string | null;
  material: string | null;
  thickness: Quantity | null;
  part: PartShown | null;
  findings: Finding[];
  not_checked: { rule: string; why: string; failed?: boolean }[];
  checked?: string[];
  assumed?: { what: string; value: string; why: string }[];
  notes?: string[];
  seconds: { read: number; measure: number; rules: number };
  unreadable?: { why: string; where: string; remedy?: string } | null;
}
export interface Report { schema: string; parts: PartReport[] }

/** How many findings of each level. */
export function counts(part: PartReport): Record<Level, number> {
  const found = { error: 0, warning: 0, note: 0 };
  for (const finding of part.findings) if (!finding.set_aside) found[finding.level] += 1;
  return found;
}

/** The worst of some counts, null where there is nothing; where there are none it did not come to its end. */
export function levelOf(n: Partial<Record<Level | "unreadable", number>> | null): Level | null {
  if (!n) return "error";
  return n.unreadable || n.error ? "error" : n.warning ? "warning" : n.note ? "note" : null;
}
