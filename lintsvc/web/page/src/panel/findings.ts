// The ranked list of findings, worst first; many of one rule are one line that opens. The chosen one tells the rest.
import type { RuleShown } from "../api";
import { type Child, fill, h, keepFocus, s } from "../dom";
import type { Finding, PartReport, Source } from "../report";
import { text } from "../strings";
import { inUnit, quantity } from "../units";
import { drawing } from "./drawings";
import { levelMark } from "./marks";

/** So many findings of one rule and level become one line. */
const MANY = 4;

export interface Asides {
  keep(index: number, reason: string): Promise<void>;
  takeBack(index: number): Promise<void>;
}

/** Measured against the limit, on one scale from zero. */
function bar(finding: Finding): HTMLElement | null {
  const { measured, limit } = finding;
  if (!measured || !limit || limit.value <= 0 || measured.value < 0) return null;
  const top = Math.max(measured.value, limit.value) * 1.15;
  const at = (x: number) => (x / top) * 100;
  const [low, high] = [Math.min(measured.value, limit.value), Math.max(measured.value, limit.value)];
  const drawing = s("svg", { class: "bar", viewBox: "0 0 100 8", preserveAspectRatio: "none", "aria-hidden": "true" });
  drawing.append(
    s("rect", { class: "bar-ground", x: 0, y: 2, width: 100, height: 4 }),
    s("rect", { class: "bar-past", x: at(low), y: 2, width: at(high) - at(low), height: 4 }),
    s("rect", { class: `bar-value bar-${finding.level}`, x: 0, y: 2, width: at(measured.value), height: 4 }),
    s("rect", { class: "bar-limit", x: at(limit.value) - 0.4, y: 0, width: 0.8, height: 8 }),
  );
  return h(
    "div",
    { class: "against" },
    drawing as unknown as Node,
    h("span", {}, h("b", {}, quantity(measured.value, measured.unit)), ` ${text.measured}`),
    h("span", {}, h("b", {}, quantity(limit.value, limit.unit)), ` ${text.limit}`),
  );
}

/** Kind and words of a source; "Common practice. Common practice …" would say it twice. */
function sourceOf(source: Source): Child[] {
  const kind = text.sourceKinds[source.kind] ?? source.kind;
  return source.text.toLowerCase().startsWith(kind.toLowerCase()) ? [h("b", {}, source.text.slice(0, kind.length)), inUnit(source.text.slice(kind.length))] : [h("b", {}, kind), `. ${inUnit(source.text)}`];
}

/** Where a choice that settles a finding is made, when it is not asked for in the finding itself. */
function settling(finding: Finding): HTMLElement | null {
  return finding.settles === "bends" ? h("p", { class: "quiet" }, text.sayBends.alone) : null;
}

/** One line of the list: findings by their place in the report. */
interface Entry { members: number[]; aside: boolean }

export function entriesOf(findings: Finding[]): Entry[] {
  const key = (x: Finding) => `${x.level} ${x.rule} ${x.set_aside ? "aside" : ""}`;
  const counts = new Map<string, number>();
  for (const x of findings) counts.set(key(x), (counts.get(key(x)) ?? 0) + 1);
  const groups = new Map<string, Entry>();
  const entries: Entry[] = [];
  findings.forEach((finding, i) => {
    const name = key(finding);
    const group = groups.get(name);
    if (group) group.members.push(i);
    else {
      const entry = { members: [i], aside: Boolean(finding.set_aside) };
      if ((counts.get(name) ?? 0) >= MANY) groups.set(name, entry);
      entries.push(entry);
    }
  });
  return entries;
}

export class FindingsPanel {
  readonly element = h("section", { class: "panel findings", id: "findings", "aria-labelledby": "findings-title", tabindex: -1, "data-focus": "findings" });
  private items = new Map<number, HTMLElement>();
  private part: PartReport | null = null;
  private chosen: number | null = null;
  private opened = new Set<string>();
  rules: ReadonlyMap<string, RuleShown> = new Map();
  /** What a finding asks the person, where it asks something. */
  ask: (finding: Finding) => HTMLElement | null = () => null;
  /** Reasons that are being written, by the finding's fingerprint: a new report of the same part takes none away. */
  private readonly drafts = new Map<string, string>();

  constructor(private readonly onChoose: (index: number | null) => void, private readonly asides: Asides | null) {}

  /** `chosen`: which finding is open in it. */
  show(part: PartReport, chosen = this.chosen): void {
    this.part = part;
    this.chosen = chosen;
    this.draw();
  }

  explain(rules: RuleShown[]): void {
    this.rules = new Map(rules.map((x) => [x.id, x]));
    this.draw();
  }

  choose(index: number | null): void {
    if (index === this.chosen) return;
    const before = this.chosen;
    this.chosen = index;
    if (this.stays(before, index)) keepFocus(this.element, () => { this.swap(before); this.swap(index); });
    else this.draw();
    if (index !== null) this.items.get(index)?.scrollIntoView({ block: "nearest", behavior: "smooth" });
  }

  /** True where nothing opens or closes but the two: then the list of hundreds is not made anew. */
  private stays(before: number | null, index: number | null): boolean {
    const findings = this.part?.findings ?? [];
    const entries = entriesOf(findings);
    const of = (i: number) => entries.find((x) => x.members.includes(i));
    const both = [before, index].filter((x) => x !== null);
    const same = both.length === 2 && of(both[0]!) === of(both[1]!);
    return both.every((i) => {
      const finding = findings[i];
      const entry = of(i);
      if (!finding || finding.set_aside || !entry || !this.items.get(i)?.isConnected) return false;
      return entry.members.length === 1 || same || this.opened.has(`${finding.level} ${finding.rule}`);
    });
  }

  private swap(index: number | null): void {
    const finding = index === null ? undefined : this.part?.findings[index];
    if (index === null || !finding) return;
    const old = this.items.get(index);
    old?.replaceWith(this.item(finding, index));
  }

  /** Findings in the order of the list: where "next" goes. */
  order(): number[] {
    return entriesOf(this.part?.findings ?? []).sort((a, b) => Number(a.aside) - Number(b.aside)).flatMap((x) => x.members);
  }

  private draw(): void {
    const part = this.part;
    if (!part) return;
    const active = document.activeElement as HTMLElement | null;
    const focused = this.element.contains(active) ? active?.closest<HTMLElement>("[data-focus]")?.dataset.focus : undefined;
    const caret = active instanceof HTMLInputElement && active.selectionStart !== null ? [active.selectionStart, active.selectionEnd] : null;
    this.items.clear();
    const entries = entriesOf(part.findings);
    const open = entries.filter((x) => !x.aside);
    const aside = entries.filter((x) => x.aside);
    const count = aside.reduce((n, x) => n + x.members.length, 0);
    fill(
      this.element,
      h("h2", { id: "findings-title" }, text.whatIsWrong),
      open.length
        ? h("ol", { class: "finding-list" }, ...open.map((x) => this.entry(x)))
        : h("p", { class: "nothing" }, aside.length ? text.nothingLeft : part.not_checked.length ? text.nothingWrongYet : text.nothingWrong),
      aside.length
        ? h("details", { class: "asides", open: this.chosen !== null && aside.some((x) => x.members.includes(this.chosen!)) },
            h("summary", {}, text.asideCount(count)), h("ol", { class: "finding-list" }, ...aside.map((x) => this.entry(x))))
        : null,
    );
    // Focus would be lost with the old button.
    const again = focused ? this.element.querySelector<HTMLElement>(`[data-focus="${CSS.escape(focused)}"]`) : null;
    // What was answered is gone: the next thing to read is the list.
    (again ?? (focused ? this.element : null))?.focus({ preventScroll: true });
    if (caret && again instanceof HTMLInputElement) again.setSelectionRange(caret[0]!, caret[1]!);
  }

  private entry({ members }: Entry): HTMLElement {
    const findings = this.part!.findings;
    const first = findings[members[0]!]!;
    if (members.length === 1) return this.item(first, members[0]!);
    const key = `${first.level} ${first.rule}${first.set_aside ? " aside" : ""}`;
    const holds = this.chosen !== null && members.includes(this.chosen);
    const open = holds || this.opened.has(key);
    const toggle = () => {
      if (open) this.opened.delete(key);
      else this.opened.add(key);
      // By now another may be chosen than when this was drawn.
      if (this.chosen !== null && members.includes(this.chosen)) this.onChoose(null);
      else this.draw();
    };
    const title = this.rules.get(first.rule)?.title.replace(/\.$/, "") ?? first.rule;
    return h(
      "li",
      { class: `finding finding-group finding-${first.level}` },
      h(
        "button",
        { type: "button", class: "finding-head", "data-focus": key, "aria-expanded": String(open), onclick: toggle },
        levelMark(first.level) as unknown as Node,
        h("span", { class: "finding-message" }, h("span", { class: "sr" }, `${text.levels[first.level]}: `), `${members.length} × ${title}`),
      ),
      open ? null : bar(first),
      open
        ? h("ol", { class: "finding-list" }, ...members.map((i) => this.item(findings[i]!, i)))
        : h("p", { class: "quiet" }, `${text.worst}: ${inUnit(first.message)}`),
    );
  }

  private item(finding: Finding, index: number): HTMLElement {
    const open = index === this.chosen;
    const button = h(
      "button",
      { type: "button", class: "finding-head", "data-focus": `finding-${index}`, "aria-expanded": String(open), onclick: () => this.onChoose(open ? null : index) },
      levelMark(finding.level) as unknown as Node,
      h("span", { class: "finding-message" }, h("span", { class: "sr" }, `${text.levels[finding.level]}: `), inUnit(finding.message)),
    );
    const item = h("li", { class: `finding finding-${finding.level}${open ? " open" : ""}${finding.set_aside ? " aside" : ""}` }, button);
    const against = bar(finding);
    if (against) item.append(against);
    if (finding.set_aside) item.append(h("p", { class: "quiet" }, `${text.setAside}: ${finding.set_aside}`));
    if (open) item.append(this.details(finding, index));
    this.items.set(index, item);
    return item;
  }

  private details(finding: Finding, index: number): HTMLElement {
    const source = finding.limit?.source;
    const rule = this.rules.get(finding.rule);
    return h(
      "div",
      { class: "finding-more" },
      h("p", {}, h("b", {}, `${text.remedy}: `), inUnit(finding.remedy)),
      finding.set_aside ? null : this.ask(finding) ?? settling(finding),
      drawing(finding.rule),
      finding.fix ? h("p", {}, h("b", {}, `${text.mend}: `), finding.fix) : null,
      finding.caution ? h("p", { class: "caution" }, h("b", {}, `${text.caution}: `), finding.caution) : null,
      source
        ? h("p", { class: "quiet" }, `${text.source}: `, ...sourceOf(source))
        : null,
      rule
        ? h("details", { class: "quiet" }, h("summary", {}, text.aboutRule),
            h("p", {}, rule.why), h("p", {}, `${text.measuredHow}: ${rule.measured}`), h("p", {}, `${text.ignoreWhen}: ${rule.ignore_when}`), h("p", {}, h("code", {}, finding.rule)))
        : h("p", { class: "quiet" }, `${text.rule}: `, h("code", {}, finding.rule)),
      this.aside(finding, index),
    );
  }

  /** Setting aside, or taking that back. */
  private aside(finding: Finding, index: number): HTMLElement | null {
    const { asides } = this;
    if (!asides) return null;
    const trouble = h("p", { class: "problem", role: "alert" });
    const told = (error: unknown) => { trouble.textContent = error instanceof Error ? error.message : String(error); };
    const focus = `aside-${index}`;
    if (finding.set_aside) {
      return h("div", {}, h("button", { type: "button", class: "plain", "data-focus": focus, onclick: () => void asides.takeBack(index).catch(told) }, text.countAgain), trouble);
    }
    const print = finding.fingerprint;
    if (!this.drafts.has(print)) {
      return h("div", {}, h("button", { type: "button", class: "plain", "data-focus": focus, onclick: () => {
        this.drafts.set(print, "");
        this.draw();
        this.items.get(index)?.querySelector("input")?.focus();
      } }, text.setAsideDo));
    }
    const reason = h("input", {
      name: "reason", required: true, maxlength: 500, autocomplete: "off", placeholder: text.reasonHint,
      value: this.drafts.get(print), "data-focus": `reason-${print}`, oninput: () => this.drafts.set(print, reason.value),
    });
    const leave = () => { this.drafts.delete(print); this.draw(); };
    return h(
      "form",
      { class: "aside-form", onsubmit: (event: SubmitEvent) => {
        event.preventDefault();
        if (reason.value.trim()) void asides.keep(index, reason.value.trim()).then(() => this.drafts.delete(print), told);
      }, onkeydown: (event: KeyboardEvent) => { if (event.key === "Escape") { event.stopPropagation(); leave(); } } },
      h("label", {}, h("span", {}, text.reason), reason),
      h("p", { class: "buttons-left" }, h("button", { type: "submit", class: "plain" }, text.setAsideSave), h("button", { type: "button", class: "plain", onclick: leave }, text.leaveIt)),
      h("p", { class: "quiet" }, text.asideMeans),
      trouble,
    );
  }
}
