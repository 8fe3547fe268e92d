// Where each finding lies in the geometry as it was sent (see `place_findings` in lintsvc/reports/geometry.py).
import type { Level, Point } from "../report";

export interface PlacedFinding {
  fingerprint: string;
  rule: string;
  level: Level;
  rank: number;
  point: Point | null;
  box: [Point, Point] | null;
  span: [Point, Point] | null;
  lines: [Point, Point][];
  /** Runs of faces: [first, count]. */
  faces: [number, number][];
  entities: number[];
}

/** What both views can do. */
export interface PartView {
  readonly element: HTMLElement;
  /** Light one finding and bring it into view; null shows all of them lightly. */
  select(index: number | null): void;
  /** Show the whole part. */
  fit(): void;
  /** Called after the colours of the page changed. */
  recolour(): void;
  /** Called after the unit changed. */
  relabel(): void;
  /** Numbers of the faces or entities lit now, for tests and for screen readers. */
  lit(): number[];
  dispose(): void;
}
