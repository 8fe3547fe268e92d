// What a person says of bends where the file does not: asked for in the finding that misses it, shown with the facts,
// and taken back there.
import type { Choices } from "../api";
import { h } from "../dom";
import type { Finding, PartReport, Point } from "../report";
import { text } from "../strings";
import { digits, length } from "../units";

type Way = "up" | "down";
/** One entry of the choice `bends`, as the service writes it. */
interface SaidBend { start: number[]; end: number[]; angle_deg?: number | null; direction?: Way | null; radius_mm?: number | null; why?: string }
/** What is said of some bends at once. */
type Words = Pick<SaidBend, "angle_deg" | "direction">;

/** The service takes no more entries. */
const MOST = 500;
/** Ends within this are the same line, after a number's way to the service and back. */
const SAME_MM = 0.001;
const t = text.sayBends;

/** The entries of the choice; none for what is no list. */
function read(choices: Choices): SaidBend[] {
  try {
    const found: unknown = JSON.parse(choices.bends || "[]");
    return Array.isArray(found) ? (found as SaidBend[]) : [];
  } catch {
    return [];
  }
}

function write(choices: Choices, bends: SaidBend[]): Choices {
  const next = { ...choices };
  if (bends.length) next.bends = JSON.stringify(bends);
  else delete next.bends;
  return next;
}

const same = (one: number[], other: number[]) => Math.hypot(one[0]! - other[0]!, one[1]! - other[1]!) <= SAME_MM;

/** The choices with something more said of these lines: what was said of them before stays. */
export function withBends(choices: Choices, lines: readonly (readonly [Point, Point])[], words: Words): Choices {
  const bends = read(choices);
  for (const line of lines) {
    // In the flat: the third number of a place is always 0.
    const [start, end] = [line[0].slice(0, 2), line[1].slice(0, 2)];
    const at = bends.findIndex((x) => same(x.start, start) && same(x.end, end));
    if (at >= 0) bends[at] = { ...bends[at]!, ...words };
    else bends.push({ start, end, ...words, why: "named by the user" });
  }
  return write(choices, bends);
}

/** What a form of choices leaves as it was: all that it does not ask. */
export function kept(before: Choices, asked: Choices): Choices {
  const { process, material, thickness, units, finish, quantity, ...rest } = before;
  // Places are in mm of the flat: read in another unit, the flat has other places, and what was said is asked for anew.
  if ((units ?? "") !== (asked.units ?? "")) for (const key of ["bends", "threads", "countersinks"] as const) delete rest[key];
  return { ...rest, ...asked };
}

export class BendsAsked {
  /** What is being written: a list that is drawn anew takes none of it away. */
  private angle = "";
  private radius = "";

  /** `said`: all choices of now. `say`: check again with these. */
  constructor(private readonly said: () => Choices, private readonly say: (choices: Choices) => void) {}

  /** The question of a finding that misses something of bends; null for any other. */
  ask(finding: Finding): HTMLElement | null {
    const lines = finding.where?.lines ?? [];
    if (!lines.length || lines.length > MOST) return null;
    if (finding.rule === "bend/direction-missing") return this.direction(lines);
    return finding.rule === "bend/angle-missing" ? this.degrees(lines) : null;
  }

  private direction(lines: [Point, Point][]): HTMLElement {
    const button = (way: Way) =>
      h("button", { type: "button", class: "plain", "data-focus": `bends-${way}`, onclick: () => this.say(withBends(this.said(), lines, { direction: way })) }, t.ways[way]);
    return h("div", { class: "say-bends", role: "group", "aria-label": t.whichWay(lines.length) },
      h("p", {}, t.whichWay(lines.length)), h("p", { class: "buttons-left" }, button("up"), button("down")), h("p", { class: "quiet" }, t.then(lines.length)));
  }

  private degrees(lines: [Point, Point][]): HTMLElement {
    const input = h("input", {
      name: "bend-angle", type: "number", min: 1, max: 180, step: "any", required: true, placeholder: "90", inputmode: "decimal", autocomplete: "off",
      value: this.angle, oninput: () => { this.angle = input.value; }, "data-focus": "bends-angle",
    });
    return h("form", { class: "say-bends", onsubmit: (event: SubmitEvent) => {
      event.preventDefault();
      this.angle = "";
      this.say(withBends(this.said(), lines, { angle_deg: Number(input.value) }));
    } },
      h("label", {}, h("span", {}, t.howFar(lines.length)), input),
      h("p", { class: "buttons-left" }, h("button", { type: "submit", class: "plain", "data-focus": "bends-far" }, t.use(lines.length))), h("p", { class: "quiet" }, t.then(lines.length)));
  }

  /** The radius, where bends state none and a rule could not be checked for that; null elsewhere. */
  askRadius(report: PartReport): HTMLElement | null {
    const unsaid = report.part?.bends?.filter((x) => x.radius_mm === null).length ?? 0;
    if (!unsaid) return null;
    const input = h("input", {
      name: "bend-radius", required: true, placeholder: t.radiusHint, autocomplete: "off", size: 8,
      value: this.radius, oninput: () => { this.radius = input.value; }, "data-focus": "bends-radius",
    });
    return h("form", { class: "say-bends", onsubmit: (event: SubmitEvent) => {
      event.preventDefault();
      if (!input.value.trim()) return;
      this.radius = "";
      this.say({ ...this.said(), bend_radius: input.value.trim() });
    } },
      h("label", {}, h("span", {}, t.radius(unsaid)), input),
      h("p", { class: "buttons-left" }, h("button", { type: "submit", class: "plain", "data-focus": "bends-rounded" }, t.use(unsaid))));
  }
}

const wordsOf = (bend: SaidBend) =>
  [
    bend.direction ? t.way[bend.direction] : null,
    typeof bend.angle_deg === "number" ? `${digits(bend.angle_deg)}°` : null,
    typeof bend.radius_mm === "number" ? t.rounded(length(bend.radius_mm)) : null,
  ].filter(Boolean).join(", ");

/**
 * What was said of bends, each with a way to turn it or to take it back; null where nothing was.
 * `now`: all choices when a button is pressed, which may be more than what is shown. `say` null: only to read.
 */
export function saidBends(shown: Choices, now: () => Choices, say: ((choices: Choices) => void) | null): HTMLElement | null {
  const bends = read(shown);
  const radius = shown.bend_radius;
  if (!bends.length && !radius) return null;
  const act = (label: string, of: string, focus: string, next: () => Choices) =>
    say ? h("button", { type: "button", class: "plain", "data-focus": focus, "aria-label": `${label}: ${of}`, onclick: () => say(next()) }, label) : null;
  const changed = (bend: SaidBend, to: (bend: SaidBend) => SaidBend[]) =>
    write(now(), read(now()).flatMap((x) => (same(x.start, bend.start) && same(x.end, bend.end) ? to(x) : [x])));
  const one = (bend: SaidBend, i: number) => {
    const words = t.said(length((bend.start[0]! + bend.end[0]!) / 2), length((bend.start[1]! + bend.end[1]!) / 2), wordsOf(bend));
    return h("li", { class: "buttons-left" }, h("span", {}, words),
      bend.direction ? act(t.turn, words, `bend-turn-${i}`, () => changed(bend, (x) => [{ ...x, direction: bend.direction === "up" ? "down" : "up" }])) : null,
      act(t.takeBack, words, `bend-back-${i}`, () => changed(bend, () => [])));
  };
  const rounded = radius ? t.saidRadius(radius.replace(/(\d)([a-z])/i, "$1 $2")) : "";
  return h("div", { class: "said-bends" },
    h("h3", { id: "said-bends" }, t.title),
    h("ul", { class: "plain-list", "aria-labelledby": "said-bends" },
      ...bends.map(one),
      radius
        ? h("li", { class: "buttons-left" }, h("span", {}, rounded),
            act(t.takeBack, rounded, "bend-back-radius", () => { const { bend_radius: _, ...rest } = now(); return rest; }))
        : null));
}
