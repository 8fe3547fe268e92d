// One check: progress while it runs, then the verdict, the view, the findings, and what was not checked.
import * as api from "./api";
import { type Child, fill, h } from "./dom";
import { choicesPanel, lacks } from "./panel/choices";
import { factsPanel } from "./panel/facts";
import { FindingsPanel, levelMark } from "./panel/findings";
import { notCheckedPanel } from "./panel/not_checked";
import { type PartReport, counts } from "./report";
import { text } from "./strings";
import { loadView } from "./view/load";
import type { PartView } from "./view/placed";

export class CheckPage {
  readonly element = h("div", { class: "check" });
  private check: api.Check | null = null;
  /** The last check that was heard of: its files are what is checked again. */
  private base: api.Check | null = null;
  private asked = 0;
  private materials: api.MaterialShown[] = [];
  private file = 0;
  private chosen: number | null = null;
  private view: PartView | null = null;
  private viewing = 0;
  private stop: (() => void) | null = null;
  private readonly verdict = h("div", { class: "verdict", role: "status", "aria-live": "polite" });
  private readonly viewPlace = h("div", { class: "view-place" });
  private readonly tools = h("div", { class: "view-tools", role: "toolbar" });
  private readonly findings = new FindingsPanel((index) => this.choose(index));
  private readonly side = h("div", { class: "side" });
  private readonly below = h("div", { class: "below" });
  private choices: HTMLElement | null = null;
  private readonly files = h("nav", { class: "files", "aria-label": text.files });
  private readonly key = (event: KeyboardEvent) => this.onKey(event);

  constructor(private id: string, private readonly go: (path: string) => void) {
    fill(this.element, this.verdict);
    document.addEventListener("keydown", this.key);
    // For tests: which faces or entities are lit; null while there is no view.
    (window as unknown as { lintsvcLit: () => number[] | null }).lintsvcLit = () => this.view?.lit() ?? null;
    void api.materials().then(({ materials }) => { this.materials = materials; this.panels(); }, () => undefined);
    this.start();
  }

  dispose(): void {
    this.stop?.();
    this.viewing++;
    this.view?.dispose();
    document.removeEventListener("keydown", this.key);
  }

  recolour(): void {
    this.view?.recolour();
  }

  relabel(): void {
    this.panels();
    const part = this.part();
    if (part) this.findings.show(part);
    this.view?.relabel();
  }

  private start(): void {
    this.stop?.();
    this.stop = api.follow(
      this.id,
      (check) => this.update(check),
      () => fill(this.verdict, h("p", { class: "problem" }, text.errors.network)),
      (error) => fill(this.verdict, h("p", { class: "problem" }, error.message), this.backLink()),
    );
  }

  private part(): PartReport | null {
    return this.check?.report?.parts[this.file] ?? null;
  }

  private update(check: api.Check): void {
    const before = this.check?.state;
    this.check = this.base = check;
    document.title = `${check.files.map((x) => x.name).join(", ")} – ${text.name}`;
    if (check.state === "queued" || check.state === "running") {
      this.running(check);
      return;
    }
    if (before === check.state && this.view) return;
    if (!check.report) {
      fill(this.verdict, h("p", { class: "problem" }, check.problem ?? text.states[check.state] ?? check.state), this.backLink());
      return;
    }
    this.layOut();
    this.showFile(this.file < check.report.parts.length ? this.file : 0);
  }

  private running(check: api.Check): void {
    const step = check.state === "queued" ? text.waiting : (text.steps[check.step ?? ""] ?? (check.step ? text.stepRule(check.step) : text.verdict.running));
    fill(
      this.verdict,
      h("h1", {}, check.files.map((x) => x.name).join(", ")),
      h("progress", { max: 100, value: check.state === "queued" ? null : check.percent, "aria-label": step }),
      h("p", { class: "quiet" }, step),
      h("button", { type: "button", class: "plain", onclick: () => { void api.remove(this.id).then(() => this.go("/")); } }, text.cancel),
    );
  }

  private layOut(): void {
    const many = (this.check?.report?.parts.length ?? 0) > 1;
    fill(
      this.element,
      this.verdict,
      many ? this.files : null,
      h("div", { class: "bench" }, h("div", { class: "view-column" }, this.viewPlace, this.tools), this.side),
      this.below,
    );
  }

  private showFile(index: number): void {
    this.file = index;
    this.chosen = null;
    const part = this.part();
    const check = this.check;
    if (!part || !check) return;
    this.showVerdict(part);
    this.showFiles();
    this.findings.choose(null);
    this.findings.show(part);
    this.panels();
    const mine = ++this.viewing;
    this.view?.dispose();
    this.view = null;
    fill(this.tools);
    if (!part.part) {
      fill(this.viewPlace, h("p", { class: "nothing" }, text.noView));
      return;
    }
    fill(this.viewPlace, h("p", { class: "quiet loading" }, text.loadingView));
    loadView(check.id, index, part.part.kind, (picked) => this.choose(picked)).then(
      (view) => {
        if (mine !== this.viewing) {
          view.dispose();
          return;
        }
        this.view = view;
        fill(this.viewPlace, view.element);
        this.showTools();
        if (this.chosen !== null) view.select(this.chosen);
      },
      (error: unknown) => {
        if (mine === this.viewing) fill(this.viewPlace, h("p", { class: "problem" }, text.viewFailed(error instanceof Error ? error.message : String(error))));
      },
    );
  }

  private showVerdict(part: PartReport): void {
    const n = counts(part);
    const v = text.verdict;
    let words: string;
    let mark: Child = null;
    let kind = "clean";
    if (part.unreadable) [words, mark, kind] = [v.unreadable, levelMark("error"), "error"];
    else if (n.error) [words, mark, kind] = [v.errors(n.error), levelMark("error"), "error"];
    else if (n.warning) [words, mark, kind] = [v.warnings(n.warning), levelMark("warning"), "warning"];
    else if (n.note) [words, mark, kind] = [v.notes(n.note), levelMark("note"), "note"];
    else words = v.clean;
    const counted = [part.checked ? text.checkedCount(part.checked.length) : null, part.not_checked.length ? text.notCheckedCount(part.not_checked.length) : null];
    fill(
      this.verdict,
      h("p", { class: "file-name" }, part.file),
      h("h1", { class: `verdict-${kind}` }, mark, words),
      part.unreadable
        ? h("p", { class: "why" }, [part.unreadable.why, part.unreadable.where && `(${part.unreadable.where})`, part.unreadable.remedy].filter(Boolean).join(" "))
        : h("p", { class: "quiet" }, counted.filter(Boolean).join(" · ")),
    );
  }

  private showFiles(): void {
    const parts = this.check?.report?.parts ?? [];
    fill(
      this.files,
      ...parts.map((part, i) => {
        const n = counts(part);
        const level = part.unreadable || n.error ? "error" : n.warning ? "warning" : n.note ? "note" : null;
        return h(
          "button",
          { type: "button", "aria-current": i === this.file ? "true" : null, onclick: () => this.showFile(i) },
          level ? levelMark(level) : "✓",
          " ",
          part.file,
        );
      }),
    );
  }

  private panels(): void {
    const part = this.part();
    const check = this.check;
    if (!part || !check) return;
    // A field that somebody is typing in must not be taken away under the hands.
    const typing = this.choices?.contains(document.activeElement) ?? false;
    if (part.unreadable) this.choices = null;
    else if (!typing || !this.choices) {
      const said = (check.choices ?? {}) as api.Choices;
      this.choices = choicesPanel(part, this.materials, said, (next) => void this.again(next));
      // Leaving the form shows it with what holds now.
      this.choices.addEventListener("focusout", () => setTimeout(() => this.panels()));
    }
    const choices = this.choices;
    // What is missing is asked for where it is seen; what was guessed can wait below.
    const asks = choices !== null && lacks(part).length > 0;
    fill(this.side, asks ? choices : null, this.findings.element, notCheckedPanel(part));
    fill(this.below, part.part ? factsPanel(part) : null, asks ? null : choices, this.outPanel(check, part));
  }

  private outPanel(check: api.Check, part: PartReport): HTMLElement {
    const highlight = part.part?.kind === "sheet" ? ["svg", "dxf"] : ["glb"];
    return h(
      "section",
      { class: "panel", "aria-labelledby": "out-title" },
      h("h2", { id: "out-title" }, text.reports),
      h(
        "p",
        { class: "links" },
        ...Object.entries(text.reportKinds).map(([kind, name]) => h("a", { href: api.reportUrl(check.id, kind), download: kind !== "html" }, name)),
        ...(part.part ? highlight.map((kind) => h("a", { href: api.highlightsUrl(check.id, kind), download: true }, `${text.highlights} (${kind.toUpperCase()})`)) : []),
      ),
      h("p", { class: "quiet" }, text.estimate),
      h(
        "p",
        {},
        this.backLink(),
        " ",
        h("button", { type: "button", class: "plain", onclick: () => { if (confirm(text.removeSure)) void api.remove(check.id).then(() => this.go("/")); } }, text.remove),
      ),
    );
  }

  private backLink(): HTMLElement {
    return h("a", { href: "/", onclick: (event: MouseEvent) => { event.preventDefault(); this.go("/"); } }, text.newCheck);
  }

  /** Check again with other choices. What is chosen while one is under way counts: the last word wins. */
  private async again(choices: api.Choices): Promise<void> {
    const base = this.base;
    if (!base) return;
    const mine = ++this.asked;
    try {
      const next = await api.again(base, choices);
      if (mine !== this.asked) return;
      this.id = next.id;
      history.replaceState(null, "", `/checks/${next.id}`);
      this.check = null;
      this.start();
    } catch (error) {
      this.verdict.append(h("p", { class: "problem" }, error instanceof Error ? error.message : String(error)));
    }
  }

  private choose(index: number | null): void {
    this.chosen = index;
    this.findings.choose(index);
    this.view?.select(index);
    if (index === null) this.view?.fit();
  }

  private showTools(): void {
    const tool = (label: string, act: () => void) => h("button", { type: "button", class: "plain", onclick: act }, label);
    const view = this.view as (PartView & { look?: (direction: [number, number, number]) => void }) | null;
    fill(
      this.tools,
      tool(text.fit, () => view?.fit()),
      ...(view?.look
        ? [
            tool(text.top, () => view.look!([0, -0.001, 1])),
            tool(text.front, () => view.look!([0, -1, 0])),
            tool(text.side, () => view.look!([1, 0, 0])),
          ]
        : []),
      h("span", { class: "grow" }),
      ...(this.part()?.findings.length
        ? [tool(`← ${text.previous}`, () => this.step(-1)), tool(`${text.next} →`, () => this.step(1))]
        : []),
    );
  }

  private step(by: number): void {
    const n = this.part()?.findings.length ?? 0;
    if (n) this.choose(this.chosen === null ? (by > 0 ? 0 : n - 1) : (this.chosen + by + n) % n);
  }

  private onKey(event: KeyboardEvent): void {
    const target = event.target as HTMLElement;
    if (event.ctrlKey || event.metaKey || event.altKey || /^(INPUT|SELECT|TEXTAREA)$/.test(target.tagName)) return;
    if (event.key === "j") this.step(1);
    else if (event.key === "k") this.step(-1);
    else if (event.key === "Escape") this.choose(null);
  }
}
