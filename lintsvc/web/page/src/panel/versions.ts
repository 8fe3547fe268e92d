// Two versions of a part: findings gone, new and as before, what changed of it, and where its shape differs.
import * as api from "../api";
import type { Check, Choices, Versions } from "../api";
import { type Child, h } from "../dom";
import { follow } from "../follow";
import type { Finding } from "../report";
import { text } from "../strings";
import { inUnit, length } from "../units";
import type { Feature } from "../view/placed";
import { OpeningPanel } from "./opening";
import { levelMark } from "./marks";

const t = text.versions;

export class VersionsPanel {
  readonly panel: OpeningPanel;
  private earlier: Check[] | null = null;
  private old: string | null = null;
  private found: Versions | null = null;
  private trouble = "";
  private busy = "";
  private lit = false;

  constructor(
    private readonly check: Check,
    private readonly file: number,
    private readonly light: (features: Feature[] | null) => void,
    /** The panel that stood here: the version that was chosen there stays so. */
    before: VersionsPanel | null,
  ) {
    let again = before?.old ?? null;
    this.panel = new OpeningPanel(t.title, t.hint, async () => {
      this.earlier ??= (await api.recent(100)).checks.filter((x) => x.state === "done" && x.id !== check.id);
      const old = this.earlier.find((x) => x.id === again)?.id;
      again = null;
      // Compared by itself, so nothing is lit, and the view is not gone to.
      if (old) setTimeout(() => void this.compare(old, false));
      return this.draw(this.earlier);
    });
  }

  /** Something else was lit in the view. */
  end(): void {
    if (!this.lit) return;
    this.lit = false;
    void this.panel.again();
  }

  private draw(earlier: Check[]): Child[] {
    const name = this.check.files[this.file]?.name ?? "";
    // Versions of one part mostly have one name, or nearly.
    const alike = (x: Check) => likeness(name, x.files[0]?.name ?? "");
    const list = [...earlier].sort((a, b) => alike(b) - alike(a) || (b.created ?? "").localeCompare(a.created ?? ""));
    const select = h("select", { name: "old", "aria-label": t.which, onchange: () => void this.compare(select.value) },
      h("option", { value: "", selected: this.old === null }, list.length ? t.choose : t.none),
      ...list.map((x) => h("option", { value: x.id, selected: x.id === this.old }, `${x.files[0]?.name ?? ""} – ${text.when(x.created ?? "")}`)));
    const chooser = h("input", { type: "file", class: "sr", id: "old-file", "data-focus": "old-file", onchange: () => { const file = chooser.files?.[0]; if (file) void this.send(file); } });
    return [
      h("div", { class: "versions-choice" }, select, h("span", {}, chooser, h("label", { class: "plain", for: "old-file" }, t.chooseFile))),
      h("p", { class: this.trouble ? "problem" : "quiet", role: "status" }, this.trouble || this.busy),
      ...(this.found ? this.result(this.found) : []),
    ];
  }

  private async send(file: File): Promise<void> {
    this.trouble = "";
    this.say(t.checkingOld);
    try {
      const sent = await api.send([file], (this.check.choices ?? {}) as Choices, (x) => this.say(text.uploading(Math.round(100 * x)))).done;
      this.say(t.checkingOld);
      await new Promise<void>((resolve, reject) => {
        follow(sent.id, { changed: (x) => { if (x.state === "done") resolve(); else if (x.state === "failed" || x.state === "cancelled") reject(new Error(x.problem ?? text.states[x.state])); }, lost: () => undefined, found: () => undefined, failed: reject });
      });
      this.earlier = [sent, ...(this.earlier ?? [])];
      await this.compare(sent.id);
    } catch (error) {
      this.fail(error);
    }
  }

  private async compare(old: string, light = true): Promise<void> {
    this.old = old || null;
    this.found = null;
    this.trouble = "";
    if (light) this.light(null);
    this.lit = false;
    if (!old) return void this.panel.again();
    this.say(t.comparing);
    try {
      const found = await api.versions(this.check.id, this.file, old);
      if (this.old !== old) return;
      this.found = found;
      this.say("");
      if (light && found.shape && (found.shape.faces.length || found.shape.entities.length || found.shape.gone.length)) this.show(found, true);
    } catch (error) {
      this.fail(error);
    }
  }

  private say(words: string): void {
    this.busy = words;
    void this.panel.again();
  }

  private fail(error: unknown): void {
    this.trouble = error instanceof Error ? error.message : String(error);
    this.say("");
  }

  private show(found: Versions, on: boolean): void {
    this.lit = on;
    const shape = found.shape;
    this.light(on && shape ? [{ words: t.differs, faces: shape.faces, entities: shape.entities, lines: shape.gone }] : null);
    void this.panel.again();
  }

  private result(found: Versions): Child[] {
    const list = (title: string, findings: Finding[], kind: string) =>
      findings.length
        ? h("div", { class: `versions-${kind}` }, h("h3", {}, `${title} (${findings.length})`), h("ul", { class: "plain-list" }, ...findings.map((x) => h("li", { class: "with-mark" }, levelMark(x.level), h("span", {}, inUnit(x.message))))))
        : null;
    return [
      h("p", { class: "versions-sum" }, h("b", {}, found.same_content ? t.sameBytes : t.sum(found.gone.length, found.added.length, found.kept.length))),
      list(t.added, found.added, "added"),
      list(t.gone, found.gone, "gone"),
      found.changes.length
        ? h("table", { class: "changes" }, h("thead", {}, h("tr", {}, h("th", { scope: "col" }, t.what), h("th", { scope: "col" }, t.before), h("th", { scope: "col" }, t.after))),
            h("tbody", {}, ...found.changes.map((x) => h("tr", {}, h("th", { scope: "row" }, x.what), h("td", {}, inUnit(x.old)), h("td", {}, inUnit(x.new))))))
        : null,
      this.shape(found),
    ];
  }

  private shape(found: Versions): Child {
    const { shape } = found;
    if (!shape) return h("p", { class: "quiet" }, t.noShape);
    const changed = shape.faces.reduce((n, [, count]) => n + count, 0) + shape.entities.length;
    if (!changed && !shape.gone.length) return h("p", {}, t.sameShape(length(shape.tolerance_mm)));
    return h(
      "div",
      {},
      h("p", {}, t.shape(length(shape.farthest_mm), length(shape.tolerance_mm)), shape.moved_mm ? ` ${t.moved(shape.moved_mm.map(length).join(", "))}` : null),
      h("button", { type: "button", class: "plain", "data-focus": "light", "aria-pressed": String(this.lit), onclick: () => this.show(found, !this.lit) }, t.light),
      shape.gone.length ? h("p", { class: "quiet" }, t.dashed) : null,
    );
  }
}

/** How alike two names are, 0 to 1: the share of the longer one that both begin and end with. */
function likeness(a: string, b: string): number {
  if (a === b) return 1;
  let start = 0;
  while (start < Math.min(a.length, b.length) && a[start] === b[start]) start++;
  let end = 0;
  while (end < Math.min(a.length, b.length) - start && a[a.length - 1 - end] === b[b.length - 1 - end]) end++;
  return (start + end) / Math.max(a.length, b.length, 1) * 0.99;
}
