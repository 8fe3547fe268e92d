// The same part in every material and thickness: what passes, by how much it fails, mass and stiffness.
import * as api from "../api";
import type { MaterialRow, MaterialTable } from "../api";
import { type Child, h } from "../dom";
import { text } from "../strings";
import { digits, inUnit, length, mass, quantity } from "../units";
import { OpeningPanel } from "./opening";
import { levelMark, passMark } from "./marks";

const t = text.compare;

export class MaterialsPanel {
  readonly panel: OpeningPanel;
  private table: MaterialTable | null = null;
  private fetching: Promise<void> | null = null;
  private asking = false;
  private trouble = "";
  private gone = false;
  private readonly opened = new Set<string>();
  private passing = false;

  constructor(
    private readonly id: string,
    private readonly file: number,
    private readonly thickness: number | null,
    /** Check the part with this material and thickness; null where choices cannot be made. */
    private readonly use: ((material: string, thickness: string | null) => void) | null,
    ahead: boolean,
    /** The panel that stood here: what was opened and ticked there stays so. */
    before: MaterialsPanel | null,
  ) {
    if (before) {
      this.passing = before.passing;
      before.opened.forEach((x) => this.opened.add(x));
    }
    // Where measuring took long, it is asked for ahead: then every other choice has its answer at once.
    if (ahead) void this.fetch().catch(() => undefined);
    this.panel = new OpeningPanel(t.title, t.hint, async () => {
      await this.fetch();
      void this.rest(this.table!);
      return this.draw(this.table!);
    });
  }

  /** Other panels stand in its place: what is still to come is not asked for. */
  dispose(): void {
    this.gone = true;
  }

  /** Resolves when there is something to show. */
  private fetch(): Promise<void> {
    this.fetching ??= (async () => {
      try {
        this.table = await api.materialTable(this.id, this.file, 0);
      } catch (error) {
        this.fetching = null;
        throw error;
      }
    })();
    return this.fetching;
  }

  /** Ask for what is still missing, piece by piece. */
  private async rest(table: MaterialTable): Promise<void> {
    if (this.asking || this.trouble) return;
    this.asking = true;
    while (table.next !== null && !this.gone && !this.trouble) {
      try {
        const piece = await api.materialTable(this.id, this.file, table.next);
        table.rows = [...table.rows, ...piece.rows].sort((a, b) => a.place - b.place || (a.thickness_mm ?? 0) - (b.thickness_mm ?? 0));
        table.next = piece.next;
      } catch (error) {
        this.trouble = error instanceof Error ? error.message : String(error);
      }
      void this.panel.again();
    }
    this.asking = false;
  }

  private draw(table: MaterialTable): Child[] {
    const sheet = table.process === "sheet";
    const names = [...new Set(table.rows.map((x) => x.material))];
    const chosen = table.rows.find((x) => x.chosen);
    // The chosen material first: the others are held against it.
    if (chosen) names.sort((a, b) => Number(b === chosen.material) - Number(a === chosen.material));
    const rows = names.flatMap((name) => this.rowsOf(name, table.rows.filter((x) => x.material === name && (!this.passing || x.passes || x.chosen)), sheet));
    const good = table.rows.filter((x) => x.passes && !x.not_checked).length;
    const source = chosen?.youngs_modulus_gpa;
    return [
      h("p", { class: this.trouble ? "problem" : "", role: "status" }, table.next === null ? t.found(good, table.of) : this.trouble ? t.stoppedAt(table.rows.length, table.of, this.trouble) : t.soFar(table.rows.length, table.of),
        this.trouble ? h("button", { type: "button", class: "plain", "data-focus": "again", onclick: () => { this.trouble = ""; void this.panel.again(); } }, text.list.again) : null),
      h("label", { class: "tick" }, h("input", { type: "checkbox", name: "passing", checked: this.passing, onchange: (event: Event) => {
        this.passing = (event.currentTarget as HTMLInputElement).checked;
        void this.panel.again();
      } }), t.onlyPassing),
      h("div", { class: "table-scroll", role: "region", tabindex: 0, "data-focus": "table", "aria-label": t.title },
        h("table", { class: "materials" },
          h("thead", {}, h("tr", {}, h("th", { scope: "col" }, text.material), sheet ? h("th", { scope: "col" }, text.thickness) : null,
            h("th", { scope: "col" }, t.result), h("th", { scope: "col" }, t.worst), h("th", { scope: "col", class: "number" }, text.mass),
            h("th", { scope: "col", class: "number" }, t.stiffness), this.use ? h("th", { scope: "col" }, h("span", { class: "sr" }, t.use)) : null)),
          ...rows)),
      h("p", { class: "quiet" }, `${t.stiffness}: ${table.stiffness_why}`),
      source ? h("p", { class: "quiet" }, t.modulus(chosen!.name, digits(source.value), `${text.sourceKinds[source.source.kind] ?? source.source.kind}: ${source.source.text}`)) : null,
    ];
  }

  /** One material: its thickness nearest to the chosen one, and the others on demand. */
  private rowsOf(name: string, rows: MaterialRow[], sheet: boolean): Child[] {
    if (!rows.length) return [];
    const near = (x: MaterialRow) => Math.abs((x.thickness_mm ?? 0) - (this.thickness ?? 0));
    const main = rows.find((x) => x.chosen) ?? rows.reduce((a, b) => (near(b) < near(a) ? b : a));
    const open = this.opened.has(name);
    const more = sheet && rows.length > 1
      ? h("button", { type: "button", class: "linkish", "data-focus": `more-${name}`, "aria-expanded": String(open), onclick: () => {
          if (open) this.opened.delete(name);
          else this.opened.add(name);
          void this.panel.again();
        } }, open ? t.fewer : t.more(rows.length))
      : null;
    return [h("tbody", { class: open ? "open" : "" }, ...(open ? rows : [main]).map((x, i) => this.row(x, sheet, i === 0, i === 0 ? more : null)))];
  }

  private row(row: MaterialRow, sheet: boolean, named: boolean, more: Child): HTMLElement {
    const { worst } = row;
    const level = row.counts.error ? "error" : row.counts.warning ? "warning" : null;
    const use = this.use;
    return h(
      "tr",
      { class: row.chosen ? "chosen" : "", "aria-current": row.chosen ? "true" : null },
      h("th", { scope: "row" }, named ? row.name : h("span", { class: "sr" }, row.name), more ? h("br") : null, more),
      sheet ? h("td", {}, row.thickness_mm === null ? "" : length(row.thickness_mm), row.stocked === false ? h("span", { class: "quiet" }, ` ${t.notStocked}`) : null) : null,
      h("td", { class: "result" }, h("span", { class: "with-mark" }, level ? levelMark(level) : passMark(), h("span", {}, t.verdict(row.counts, row.not_checked)))),
      h("td", { class: "worst" }, worst && worst.level !== "note"
        ? worst.measured && worst.limit
          ? [h("span", {}, `${quantity(worst.measured.value, worst.measured.unit)} ${t.of} ${quantity(worst.limit.value, worst.limit.unit)}`), row.past !== null && row.past >= 0.005 ? h("b", {}, ` (${worst.measured.value < worst.limit.value ? "−" : "+"}${digits(row.past * 100, 0)} %)`) : null, h("span", { class: "quiet worst-rule" }, ` ${worst.rule}`)].reduce<HTMLElement>((cell, x) => { if (x) cell.append(x); return cell; }, h("span"))
          : inUnit(worst.message)
        : "–"),
      h("td", { class: "number" }, row.mass_g === null ? "–" : mass(row.mass_g)),
      h("td", { class: "number" }, row.stiffness === null ? "–" : `${digits(row.stiffness, row.stiffness < 0.1 ? 3 : 2)} ×`),
      use ? h("td", {}, row.chosen ? h("span", { class: "quiet" }, t.chosen)
        : h("button", { type: "button", class: "plain", "data-focus": `use-${row.material}-${row.thickness_mm}`, "aria-label": t.useThis(row.name, row.thickness_mm === null ? "" : length(row.thickness_mm)),
            onclick: () => use(row.material, row.thickness_mm === null ? null : `${row.thickness_mm}mm`) }, t.use)) : null,
    );
  }
}
