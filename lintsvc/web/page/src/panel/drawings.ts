// Small line drawings beside a remedy: as it is, and as it should be. One for each family of rules.
import { h, s } from "../dom";
import { text } from "../strings";

/** Path data on a ground of 64 × 44: material (filled), lines (bare), dashed lines, and the place that matters. */
interface Sketch { part?: string; line?: string; dash?: string; mark?: string }
type Pair = [bad: Sketch, good: Sketch];

const slab = (x0: number, y0: number, x1: number, y1: number) => `M${x0} ${y0}H${x1}V${y1}H${x0}z`;
const ring = (x: number, y: number, r: number) => `M${x - r} ${y}a${r} ${r} 0 1 0 ${2 * r} 0a${r} ${r} 0 1 0 ${-2 * r} 0z`;
/** A measure between two upright lines. */
const across = (x0: number, x1: number, y: number) => `M${x0} ${y - 3}v6M${x1} ${y - 3}v6M${x0} ${y}H${x1}`;
const upright = (x: number, y0: number, y1: number) => `M${x - 3} ${y0}h6M${x - 3} ${y1}h6M${x} ${y0}V${y1}`;

const wall: Pair = [
  { part: `${slab(6, 34, 58, 40)}${slab(31, 8, 33, 34)}`, mark: across(31, 33, 5) },
  { part: `${slab(6, 34, 58, 40)}${slab(28, 8, 36, 34)}`, mark: across(28, 36, 5) },
];
const web: Pair = [
  { part: `${slab(4, 6, 60, 38)}${ring(22, 22, 9)}${ring(42, 22, 9)}`, mark: across(31, 33, 22) },
  { part: `${slab(4, 6, 60, 38)}${ring(18, 22, 7)}${ring(46, 22, 7)}`, mark: across(25, 39, 22) },
];
const gap: Pair = [
  { part: `${slab(6, 8, 31, 38)}${slab(33, 8, 58, 38)}`, mark: across(31, 33, 5) },
  { part: `${slab(6, 8, 27, 38)}${slab(37, 8, 58, 38)}`, mark: across(27, 37, 5) },
];
const hole: Pair = [
  { part: `${slab(8, 6, 56, 38)}${ring(32, 22, 2)}`, mark: across(30, 34, 13) },
  { part: `${slab(8, 6, 56, 38)}${ring(32, 22, 8)}`, mark: across(24, 40, 9) },
];
const deep: Pair = [
  { part: "M6 6H29V36H35V6H58V41H6z", mark: upright(32, 6, 36) },
  { part: "M6 6H26V41H6zM38 6H58V41H38z", mark: upright(32, 6, 41) },
];
const hollow: Pair = [
  { part: `${slab(8, 5, 56, 39)}M14 11V33H50V11z`, dash: "M18 30l3-3m2 3l3-3m2 3l3-3m2 3l3-3m2 3l3-3m2 3l3-3" },
  { part: "M8 5H56V39H38V33H50V11H14V33H26V39H8z", mark: "M32 30v12m-3-3l3 3l3-3" },
];
const nearBend: Pair = [
  { part: `${slab(4, 6, 60, 38)}${ring(37, 22, 6)}`, dash: "M30 6V38", mark: across(30, 31, 33) },
  { part: `${slab(4, 6, 60, 38)}${ring(48, 22, 6)}`, dash: "M26 6V38", mark: across(26, 42, 33) },
];
const nearEdge: Pair = [
  { part: `${slab(4, 6, 44, 38)}${ring(36, 22, 6)}`, mark: across(42, 44, 33) },
  { part: `${slab(4, 6, 54, 38)}${ring(30, 22, 6)}`, mark: across(36, 54, 33) },
];
const flange: Pair = [
  { part: "M6 32H44V26H50V38H6z", mark: upright(56, 26, 38) },
  { part: "M6 32H44V8H50V38H6z", mark: upright(56, 8, 38) },
];
const relief: Pair = [
  { part: "M4 24H20V6H44V24H60V40H4z", dash: "M20 24H44", mark: "M17 21l6 6m0-6l-6 6M41 21l6 6m0-6l-6 6" },
  { part: "M4 24H16V30H20V6H44V30H48V24H60V40H4z", dash: "M20 24H44", mark: across(16, 20, 35) },
];
const radius: Pair = [
  { part: "M6 32H44V6H50V38H6z", mark: "M38 26l6 6" },
  { part: "M6 32H34a10 10 0 0 0 10-10V6H50V22a16 16 0 0 1-16 16H6z", mark: "M34 22l7 7" },
];
const bends: Pair = [
  { part: "M6 38V32H28V10H52V16H34V38z", mark: across(28, 34, 42) },
  { part: "M4 38V32H18V10H60V16H24V38z", mark: across(24, 60, 22) },
];
const tap: Pair = [
  { part: `${slab(6, 28, 26, 34)}${slab(38, 28, 58, 34)}`, line: "M28 6V40M36 6V40M28 10l8 3M28 16l8 3M28 22l8 3M28 28l8 3M28 34l8 3", mark: upright(61, 28, 34) },
  { part: `${slab(6, 18, 26, 34)}${slab(38, 18, 58, 34)}`, line: "M28 6V40M36 6V40M28 10l8 3M28 16l8 3M28 22l8 3M28 28l8 3M28 34l8 3", mark: upright(61, 18, 34) },
];
const countersink: Pair = [
  { part: "M4 20H16L30 34H4zM60 20H48L34 34H60z", mark: upright(32, 20, 34) },
  { part: "M4 12H20L26 20V34H4zM60 12H44L38 20V34H60z", mark: upright(32, 12, 20) },
];
const open: Pair = [
  { line: "M14 8H50V36H14V24", mark: "M14 20v-12" },
  { part: slab(14, 8, 50, 36), line: "M14 8H50V36H14z" },
];
const crossing: Pair = [
  { line: "M10 8H54V36H26L44 22L10 36z", mark: ring(34, 29, 5) },
  { part: "M10 8H54V36H10z", line: "M10 8H54V36H10z" },
];
const corner: Pair = [
  { part: "M8 6H24V26H56V40H8z", mark: ring(24, 26, 4) },
  { part: "M8 6H24V18a8 8 0 0 0 8 8H56V40H8z", mark: "M32 18l-6 6" },
];
const island: Pair = [
  { part: `${slab(4, 4, 60, 40)}${ring(32, 22, 14)}${ring(32, 22, 7)}`, mark: "M32 18v16m-3-3l3 3l3-3" },
  { part: `${slab(4, 4, 60, 40)}M20 14A14 14 0 0 1 44 14L38 18A7 7 0 0 0 26 18zM20 30A14 14 0 0 0 44 30L38 26A7 7 0 0 1 26 26z` },
];
const surface: Pair = [
  { line: "M10 34L22 10H42L54 34zM22 10L32 34L42 10M10 34H28M36 34H54", mark: "M28 34l4-9l4 9" },
  { part: "M10 34L22 10H42L54 34z", line: "M10 34L22 10H42L54 34zM22 10L32 34L42 10" },
];
const thick: Pair = [
  { part: slab(8, 6, 56, 38), mark: ring(32, 22, 12) },
  { part: "M8 6H56V38H50V12H35V38H29V12H14V38H8z" },
];
const panel: Pair = [
  { part: "M4 26Q32 14 60 26V29Q32 17 4 29z", mark: "M32 12v6m-3-3l3-4l3 4" },
  { part: "M4 22H60V25H46V38H42V25H22V38H18V25H4z" },
];
const detail: Pair = [
  { part: "M6 22H24V21H40V22H58V38H6z", mark: upright(46, 21, 22) },
  { part: "M6 22H22V14H42V22H58V38H6z", mark: upright(50, 14, 22) },
];
const unit: Pair = [
  { part: slab(28, 30, 34, 36), line: "M8 40H56" },
  { part: slab(16, 8, 48, 36), line: "M8 40H56" },
];

const FAMILIES: [Pair, string[]][] = [
  [wall, ["powder-bed/thin-wall", "powder-bed/slender-wall", "powder-bed/thin-pin", "powder-bed/knife-edge"]],
  [web, ["sheet/web-too-thin", "sheet/narrow-neck"]],
  [gap, ["powder-bed/narrow-gap", "powder-bed/narrow-slot", "powder-bed/narrow-clearance", "sheet/slot-too-narrow", "sheet/kerf-eats-detail"]],
  [hole, ["powder-bed/small-hole", "sheet/hole-too-small", "thread/pilot-hole-wrong"]],
  [deep, ["powder-bed/deep-hole"]],
  [hollow, ["powder-bed/trapped-powder", "powder-bed/narrow-escape"]],
  [nearBend, ["bend/hole-near-bend", "bend/edge-near-bend", "thread/near-bend", "countersink/near-bend"]],
  [nearEdge, ["thread/near-edge", "countersink/near-edge"]],
  [flange, ["bend/flange-too-short"]],
  [relief, ["bend/no-relief", "bend/relief-too-narrow", "bend/relief-too-shallow"]],
  [radius, ["bend/radius-too-tight", "bend/sharp-modelled-bend"]],
  [bends, ["bend/bends-too-close"]],
  [tap, ["thread/engagement-too-short"]],
  [countersink, ["countersink/deeper-than-sheet"]],
  [open, ["sheet/open-contour", "sheet/gap-in-contour"]],
  [crossing, ["sheet/self-crossing-contour"]],
  [corner, ["sheet/sharp-inside-corner"]],
  [island, ["sheet/island-drops-out"]],
  [surface, ["soundness/open-edge"]],
  [thick, ["powder-bed/thick-section"]],
  [panel, ["powder-bed/large-flat-panel"]],
  [detail, ["powder-bed/shallow-detail"]],
  [unit, ["soundness/units-doubtful", "sheet/units-missing"]],
];
const BY_RULE = new Map(FAMILIES.flatMap(([pair, rules]) => rules.map((rule) => [rule, pair] as const)));

function sketch({ part, line, dash, mark }: Sketch): SVGSVGElement {
  const drawn = s("svg", { class: "sketch", viewBox: "0 0 64 44" });
  if (part) drawn.append(s("path", { class: "sketch-part", d: part, "fill-rule": "evenodd" }));
  if (line) drawn.append(s("path", { class: "sketch-line", d: line }));
  if (dash) drawn.append(s("path", { class: "sketch-dash", d: dash }));
  if (mark) drawn.append(s("path", { class: "sketch-mark", d: mark }));
  return drawn;
}

/** Both sketches of a rule's family, or null where words say it better. The words beside them say the same. */
export function drawing(rule: string): HTMLElement | null {
  const pair = BY_RULE.get(rule);
  if (!pair) return null;
  const one = (kind: "bad" | "good", which: Sketch) =>
    h("figure", { class: `sketch-${kind}` }, sketch(which), h("figcaption", {}, kind === "bad" ? text.sketch.bad : text.sketch.good));
  return h("div", { class: "sketches", "aria-hidden": "true" }, one("bad", pair[0]), h("span", {}, "→"), one("good", pair[1]));
}
