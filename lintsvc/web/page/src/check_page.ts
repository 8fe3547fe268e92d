// One check: progress while it runs, then the verdict, the view, the findings, and what was not checked.
import * as api from "./api";
import { type Batch, isDone } from "./batch";
import { fill, h, keepFocus } from "./dom";
import { ended, follow } from "./follow";
import { choicesPanel, lacks } from "./panel/choices";
import { factsPanel } from "./panel/facts";
import { FindingsPanel } from "./panel/findings";
import { levelMark, passMark } from "./panel/marks";
import { MaterialsPanel } from "./panel/materials";
import { notCheckedPanel } from "./panel/not_checked";
import type { OpeningPanel } from "./panel/opening";
import { SharePanel, outPanel } from "./panel/out";
import { ListsPanel } from "./panel/parts_lists";
import { BendsAsked, kept, saidBends } from "./panel/say_bends";
import { VersionsPanel } from "./panel/versions";
import { type PartReport, counts, levelOf } from "./report";
import { text } from "./strings";
import { Toast, Verdict } from "./verdict";
import { loadView, prepare } from "./view/load";
import type { PartView } from "./view/placed";

/** What the picture of a part shows: the bytes, and how they are read. */
const drawnOf = ({ sha256, part }: PartReport) => (part ? [sha256, part.kind, part.units.value, part.size_mm.join()].join(" ") : "");

/** Rules that took longer than this are worth asking ahead for. */
const SLOW_SECONDS = 0.4;

export class CheckPage {
  readonly element = h("div", { class: "check" });
  private check: api.Check | null = null;
  /** The last check that was heard of: its files are what is checked again. */
  private base: api.Check | null = null;
  private asked = 0;
  /** The choice that was taken on last; until its check ends, the form stays as somebody left it. */
  private taken = 0;
  private choosing = false;
  /** Choices that were sent and not yet taken on: what is said next adds to them. */
  private wanted: api.Choices | null = null;
  private readonly bends = new BendsAsked(() => this.said(), (next) => void this.again(next));
  private materials: api.MaterialShown[] = [];
  private file = 0;
  private chosen: number | null = null;
  /** What tells the chosen finding from others, whatever the part was checked for. */
  private print: string | null = null;
  private view: PartView | null = null;
  private viewing = 0;
  /** A picture that stays until the next one is there, and what is drawn in it. */
  private leaving: PartView | null = null;
  private drawn = "";
  private stop: (() => void) | null = null;
  private laidOut = false;
  private known: Promise<unknown> = Promise.resolve();
  private readonly verdict = new Verdict();
  private readonly toast = new Toast();
  private readonly viewPlace = h("div", { class: "view-place" });
  private readonly tools = h("div", { class: "view-tools", role: "toolbar" });
  private readonly bench = h("div", { class: "bench" });
  private readonly findings: FindingsPanel;
  private readonly lists = new ListsPanel();
  private readonly side = h("div", { class: "side" });
  private readonly below = h("div", { class: "below" });
  private readonly wide = h("div", { class: "wide" });
  private choices: HTMLElement | null = null;
  private versions: VersionsPanel | null = null;
  private table: MaterialsPanel | null = null;
  private share: SharePanel | null = null;
  private opening: OpeningPanel[] = [];
  private readonly files = h("nav", { class: "files", "aria-label": text.files });
  private readonly key = (event: KeyboardEvent) => this.onKey(event);
  private forgetBatch: (() => void) | null = null;

  constructor(private id: string, private readonly go: (path: string) => void, private readonly batch: Batch | null) {
    const asides = api.isShared() ? null : { keep: (i: number, reason: string) => this.setAside(i, reason), takeBack: (i: number) => this.setAside(i, null) };
    this.findings = new FindingsPanel((index) => this.choose(index), asides);
    this.findings.ask = (finding) => (this.asks() ? this.bends.ask(finding) : null);
    fill(this.element, this.verdict.element, this.toast.element);
    fill(this.bench, h("div", { class: "view-column" }, this.viewPlace, this.tools), this.side);
    document.addEventListener("keydown", this.key);
    // For tests: which faces or entities are lit; null while there is no view.
    (window as unknown as { lintsvcLit: () => number[] | null }).lintsvcLit = () => this.view?.lit() ?? null;
    if (!api.isShared()) {
      const asked = Promise.allSettled([
        api.materials().then(({ materials }) => { this.materials = materials; this.panels(); }),
        api.rules().then(({ rules }) => { this.findings.explain(rules); this.panels(); }),
      ]);
      // What is shown first should not change a moment later; but it does not wait for long.
      this.known = Promise.race([asked, new Promise((resolve) => setTimeout(resolve, 1500))]);
    }
    this.forgetBatch = batch?.onChange(() => this.showFiles()) ?? null;
    this.start();
  }

  dispose(): void {
    this.stop?.();
    this.forgetBatch?.();
    this.table?.dispose();
    this.viewing++;
    this.view?.dispose();
    this.leaving?.dispose();
    document.removeEventListener("keydown", this.key);
  }

  recolour(): void {
    this.view?.recolour();
  }

  relabel(): void {
    this.panels();
    const part = this.part();
    if (part) {
      this.findings.show(part);
      if (this.check === this.base) this.verdict.done(part);
    }
    this.view?.relabel();
    this.lists.relabel();
    for (const panel of this.opening) void panel.again();
  }

  private start(): void {
    this.stop?.();
    this.stop = follow(this.id, {
      changed: (check) => this.update(check),
      lost: () => this.toast.say(text.errors.network),
      found: () => this.toast.say(text.connectionBack, 4),
      failed: (error) => this.verdict.failed(error, [this.backLink()]),
    });
  }

  private part(): PartReport | null {
    return this.check?.report?.parts[this.file] ?? null;
  }

  private update(check: api.Check): void {
    this.base = check;
    if (ended(check.state) && this.taken === this.asked) this.choosing = false;
    document.title = `${check.files.map((x) => x.name).join(", ")} – ${text.name}`;
    if (!ended(check.state)) {
      if (check.state === "running") prepare(check.id, this.file);
      this.verdict.running(check, this.laidOut, () => void api.cancel(this.id).catch((error: unknown) => this.verdict.trouble(error)));
      return;
    }
    if (!check.report) {
      this.verdict.ended(check, [this.backLink(), api.isShared() ? null : h("button", { type: "button", class: "plain", onclick: () => void this.again((check.choices ?? {}) as api.Choices) }, text.again)]);
      return;
    }
    const { parts } = check.report;
    void this.known.then(() => {
      if (this.base !== check || this.check === check) return;
      this.check = check;
      this.layOut();
      this.showFile(this.file < parts.length ? this.file : 0);
    });
  }

  private layOut(): void {
    if (this.laidOut) return;
    this.laidOut = true;
    const many = (this.check?.report?.parts.length ?? 0) > 1 || (this.batch?.items.length ?? 0) > 1;
    fill(
      this.element,
      many ? this.files : null,
      this.verdict.element,
      this.bench,
      this.below,
      this.wide,
      this.toast.element,
    );
  }

  private showFile(index: number): void {
    if (index !== this.file) this.choosing = false;
    this.file = index;
    const part = this.part();
    const check = this.check;
    this.chosen = null;
    if (!part || !check) return;
    // The same bytes read the same way: what was open stays open, with what somebody is writing there.
    const same = drawnOf(part) === this.drawn ? part.findings.findIndex((x) => x.fingerprint === this.print) : -1;
    if (same >= 0) this.chosen = same;
    this.verdict.done(part);
    // A file that cannot be read has nothing to look at: the verdict says all there is.
    this.bench.hidden = Boolean(part.unreadable);
    this.showFiles();
    this.findings.show(part, this.chosen);
    this.makePanels(check, part);
    this.panels();
    this.showView(check, part, index);
  }

  private showView(check: api.Check, part: PartReport, index: number): void {
    const mine = ++this.viewing;
    const before = this.view ?? this.leaving;
    this.view = null;
    this.leaving = null;
    // The picture of the same part stays, faded, until the one with the new findings is there.
    const drawn = drawnOf(part);
    if (before && drawn === this.drawn) {
      this.leaving = before;
      before.element.classList.add("leaving");
    } else {
      before?.dispose();
      this.lists.clear();
      fill(this.tools);
    }
    this.drawn = drawn;
    this.tools.classList.toggle("flat-tools", part.part?.kind === "sheet");
    if (!part.part) {
      fill(this.viewPlace, h("p", { class: "nothing" }, text.noView));
      return;
    }
    if (!this.leaving) fill(this.viewPlace, h("p", { class: "quiet loading" }, text.loadingView));
    const again = this.chosen;
    loadView(check.id, index, part.part.kind, part.part.watertight === true, (picked) => this.choose(picked)).then(
      (view) => {
        if (mine !== this.viewing) {
          view.dispose();
          return;
        }
        const kept = this.leaving?.keep();
        this.leaving?.dispose();
        this.leaving = null;
        this.view = view;
        fill(this.viewPlace, view.element);
        this.showTools();
        this.lists.show(view);
        // It begins as it was left; what was chosen meanwhile is gone to.
        if (kept && this.chosen !== again) view.restore(kept);
        if (this.chosen !== null) view.select(this.chosen);
        if (kept && this.chosen === again) view.restore(kept);
      },
      (error: unknown) => {
        if (mine === this.viewing) fill(this.viewPlace, h("p", { class: "problem" }, text.viewFailed(error instanceof Error ? error.message : String(error))));
      },
    );
  }

  /** The files beside this one: of the check itself, or of the list that it came with. */
  private showFiles(): void {
    const one = (name: string, level: ReturnType<typeof levelOf> | "wait", current: boolean, open: () => void) =>
      h("button", { type: "button", "data-focus": name, "aria-current": current ? "true" : null, onclick: open },
        level === "wait" ? "…" : level ? levelMark(level) : passMark(), " ", name);
    const parts = this.check?.report?.parts ?? [];
    const batch = this.batch;
    keepFocus(this.files, () => {
      if (parts.length > 1 || !batch) {
        fill(this.files, ...parts.map((part, i) => one(part.file, levelOf(part.unreadable ? { ...counts(part), unreadable: 1 } : counts(part)), i === this.file, () => this.showFile(i))));
        return;
      }
      const list = `/#files=${batch.ids().join(".")}`;
      fill(
        this.files,
        h("a", { class: "plain", href: list, onclick: (event: MouseEvent) => { event.preventDefault(); this.go(list); } }, `← ${text.list.back(batch.items.length)}`),
        ...batch.items.filter((x) => x.id).map((x) => one(batch.apart(x) ? `${batch.apart(x)}/${x.name}` : x.name, isDone(x) ? levelOf(x.check?.summary ?? null) : "wait", x.id === this.id, () => this.go(`/checks/${x.id}#files=${batch.ids().join(".")}`))),
      );
    });
  }

  /** Panels that ask the service when they are opened. They stand as those before them stood, the focus where it was. */
  private makePanels(check: api.Check, part: PartReport): void {
    const { table, versions, share, opening } = this;
    table?.dispose();
    this.versions = this.table = this.share = null;
    this.opening = [];
    if (part.part) {
      const use = api.isShared() ? null : (material: string, thickness: string | null) => {
        const choices: api.Choices = { ...this.said(), process: part.process ?? undefined, material };
        if (thickness && part.format !== "STEP") choices.thickness = thickness;
        void this.again(choices);
      };
      this.table = new MaterialsPanel(check.id, this.file, part.thickness?.value ?? null, use, use !== null && part.seconds.rules > SLOW_SECONDS, table);
      this.opening = [this.table.panel];
      if (!api.isShared()) {
        this.versions = new VersionsPanel(check, this.file, (features) => {
          if (features) this.choose(null);
          this.view?.light(features);
          if (features) this.viewPlace.scrollIntoView({ block: "nearest", behavior: "smooth" });
        }, versions);
        this.share = new SharePanel(check.id, share);
        this.opening.push(this.versions.panel, this.share.panel);
      }
    }
    const placed = this.opening.map((panel, i) => panel.replace(opening[i]));
    fill(this.wide, ...this.opening.map((x) => x.element));
    placed.forEach((focus) => focus());
  }

  private panels(): void {
    const part = this.part();
    const check = this.check;
    if (!part || !check) return;
    keepFocus(this.element, () => {
      // A field that somebody is typing in must not be taken away under the hands.
      const active = document.activeElement;
      const typing = active instanceof HTMLInputElement && active.value !== active.defaultValue && (this.choices?.contains(active) ?? false);
      if (part.unreadable || api.isShared()) this.choices = null;
      // What was chosen a moment ago is not in the last report yet.
      else if (!this.choices || !(typing || this.choosing)) {
        const said = (check.choices ?? {}) as api.Choices;
        this.choices = choicesPanel(part, this.materials, said, (next) => void this.again(kept(this.said(), next)));
        // Leaving the form shows it with what holds now.
        this.choices.addEventListener("focusout", (event) => { if ((event.target as HTMLElement).tagName === "INPUT") setTimeout(() => this.panels()); });
      }
      const choices = this.choices;
      // What is missing is asked for where it is seen; what was guessed can wait below.
      const asks = choices !== null && lacks(part).length > 0;
      fill(this.side, asks ? choices : null, this.findings.element, notCheckedPanel(part, this.findings.rules, () => (this.asks() ? this.bends.askRadius(part) : null)));
      const remove = api.isShared() ? null : () => { if (confirm(text.removeSure)) void api.remove(check.id).then(() => this.go("/"), (error: unknown) => this.verdict.trouble(error)); };
      // The lists come last: they appear when the view is there, and must push nothing aside.
      fill(this.below, part.part ? factsPanel(part, saidBends((check.choices ?? {}) as api.Choices, () => this.said(), this.asks() ? (next) => void this.again(next) : null)) : null, asks ? null : choices, outPanel(check, part, this.file, this.backLink(), remove), part.part ? this.lists.element : null);
    });
  }

  private backLink(): HTMLElement {
    return h("a", { class: "plain", href: "/", onclick: (event: MouseEvent) => { event.preventDefault(); this.go("/"); } }, text.newCheck);
  }

  /** All that was said so far. */
  private said(): api.Choices {
    return this.wanted ?? ((this.base?.choices ?? {}) as api.Choices);
  }

  /** True where bends can be said: by place, so of a file alone, and not through somebody's link. */
  private asks(): boolean {
    return !api.isShared() && this.base?.files.length === 1;
  }

  /** Check again with other choices. What is chosen while one is under way counts: the last word wins. */
  private async again(choices: api.Choices): Promise<void> {
    const base = this.base;
    if (!base) return;
    const mine = ++this.asked;
    this.choosing = true;
    this.wanted = choices;
    try {
      const next = await api.again(base.files, choices);
      if (mine !== this.asked) return;
      this.taken = mine;
      this.wanted = null;
      this.batch?.replace(this.id, next);
      this.stop?.();
      this.id = next.id;
      this.update(next);
      history.replaceState(null, "", `/checks/${next.id}${this.batch ? `#files=${this.batch.ids().join(".")}` : ""}`);
      if (!ended(next.state)) this.start();
    } catch (error) {
      if (mine !== this.asked) return;
      this.wanted = null;
      this.choosing = false;
      this.verdict.trouble(error);
    }
  }

  /** Set a finding aside with a reason, or with null let it count again. */
  private async setAside(index: number, reason: string | null): Promise<void> {
    const part = this.part();
    const finding = part?.findings[index];
    if (!part || !finding) return;
    if (reason === null) {
      await api.takeBack(this.id, this.file, finding.fingerprint);
      delete finding.set_aside;
    } else finding.set_aside = await api.setAside(this.id, this.file, finding.fingerprint, reason);
    this.choose(null);
    this.findings.show({ ...part });
    this.verdict.done(part);
  }

  private choose(index: number | null): void {
    const had = this.chosen;
    this.chosen = index;
    this.print = index === null ? null : (this.part()?.findings[index]?.fingerprint ?? null);
    this.findings.choose(index);
    this.lists.end();
    if (index !== null) this.versions?.end();
    this.view?.select(index);
    if (index === null && had !== null) this.view?.fit();
  }

  private showTools(): void {
    const tool = (label: string, act: () => void) => h("button", { type: "button", class: "plain", onclick: act }, label);
    fill(
      this.tools,
      this.view?.tools ?? null,
      h("span", { class: "grow" }),
      ...(this.part()?.findings.length
        ? [tool(`← ${text.previous}`, () => this.step(-1)), tool(`${text.next} →`, () => this.step(1))]
        : []),
    );
  }

  private step(by: number): void {
    const order = this.findings.order();
    if (!order.length) return;
    const at = this.chosen === null ? (by > 0 ? -1 : 0) : order.indexOf(this.chosen);
    this.choose(order[(at + by + order.length) % order.length]!);
  }

  private onKey(event: KeyboardEvent): void {
    const target = event.target as HTMLElement;
    if (event.ctrlKey || event.metaKey || event.altKey || /^(INPUT|SELECT|TEXTAREA)$/.test(target.tagName)) return;
    if (event.key === "j") this.step(1);
    else if (event.key === "k") this.step(-1);
    else if (event.key === "Escape" && !this.view?.escape()) this.choose(null);
  }
}
