// Where each finding lies in the geometry as it was sent (see `place_findings` in lintsvc/reports/geometry.py), and
// what the page asks of a view.
import type { Level, Point } from "../report";
import type { KeptBody } from "./body_view";
import type { KeptSheet } from "./sheet_view";

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

/** Lists of a body (see lintsvc/reports/geometry_lists.py). */
export interface BodyHole {
  diameter_mm: number;
  depth_mm: number;
  ends: [Point, Point];
  kind: "through" | "blind" | "closed";
  faces: [number, number][];
}
export interface BodyLists {
  bodies: { name: string; triangles: number; size: Point; volume_mm3: number | null; faces: [number, number][] }[];
  more_bodies: number;
  holes: BodyHole[];
  more_holes: number;
}

/** Something of the part that can be lit: what it is called, and where it is. */
export interface Feature {
  words: string;
  faces?: [number, number][];
  entities?: number[];
  /** Places in the flat's list of bends. */
  bends?: number[];
  box?: [Point, Point];
  /** Lines around what is no longer there. */
  lines?: [Point, Point][];
}
/** One group of a list: things of one kind and size are one line. */
export interface FeatureGroup { words: string; items: Feature[] }
export interface PartLists { bodies: FeatureGroup[]; holes: FeatureGroup[]; bends: FeatureGroup[]; more: string[] }

/** How somebody looks at a part: another view of the same part can begin with it. */
export interface Kept { body?: KeptBody; sheet?: KeptSheet }

/** What all views can do. */
export interface PartView {
  readonly element: HTMLElement;
  /** Buttons that belong to the view. */
  readonly tools: HTMLElement;
  /** Light one finding and bring it into view; null shows all of them lightly. */
  select(index: number | null): void;
  /** Light things of a list; null ends it. */
  light(features: Feature[] | null): void;
  /** What the part's lists hold, in the chosen unit. */
  lists(): Promise<PartLists>;
  /** Show the whole part. */
  fit(): void;
  /** How it is looked at now. */
  keep(): Kept;
  /** Look at it as it was looked at in another view of the same part. */
  restore(kept: Kept): void;
  /** End what is under way in the view (measuring): true when there was something. */
  escape(): boolean;
  /** Called after the colours of the page changed. */
  recolour(): void;
  /** Called after the unit changed. */
  relabel(): void;
  /** Numbers of the faces or entities lit now, for tests and for screen readers. */
  lit(): number[];
  dispose(): void;
}
