// A sheet part: flat, and folded where it can be folded.
import { fill, h } from "../dom";
import { text } from "../strings";
import { length } from "../units";
import type { FlatGeometry } from "./flat_shapes";
import { FlatView, type KeptFlat } from "./flat_view";
import type { FoldedGeometry } from "./fold_pose";
import { FoldTools } from "./fold_tools";
import { FoldedView, type Way } from "./folded_view";
import type { Feature, FeatureGroup, Kept, PartLists, PartView, PlacedFinding } from "./placed";
import type { KeptCamera } from "./stage";
import { keys, switchButton, toolButton } from "./tool_buttons";

const t = text.tools;

export interface KeptSheet {
  flat: KeptFlat;
  kerf: boolean;
  showsFolded: boolean;
  folded: { camera: KeptCamera; ways: Way[]; done: number } | null;
}

export class SheetView implements PartView {
  readonly element = h("div", { class: "view view-sheet" });
  readonly tools: HTMLElement;
  private readonly flatView: FlatView;
  private readonly flatTools: HTMLElement;
  private readonly rule: HTMLButtonElement;
  private readonly kerfButton: HTMLButtonElement | null;
  private readonly kerfWords = h("p", { class: "quiet legend-place" });
  private readonly foldPlace = h("div", { class: "fold-place" });
  private readonly which: HTMLElement | null;
  private folded: FoldedView | null = null;
  private foldTools: FoldTools | null = null;
  private asked = false;
  private gone = false;
  private kerfShown = false;
  private showsFolded = false;
  private chosen: number | null = null;
  private features: Feature[] | null = null;

  constructor(
    private readonly flat: FlatGeometry,
    private readonly findings: PlacedFinding[],
    private readonly askFolded: () => Promise<FoldedGeometry>,
    private readonly onPick: (index: number | null) => void,
  ) {
    this.flatView = new FlatView(flat, findings, onPick);
    this.which = flat.bends.length ? this.flatOrFolded() : null;
    const rule = this.rule = switchButton(t.measure, "m", false, (on) => this.measure(on));
    const kerf = flat.kerf_mm;
    const kerfButton = this.kerfButton = kerf ? switchButton(t.kerf, "w", false, (on) => this.showKerf(on)) : null;
    this.flatTools = h("div", { class: "tool-row" }, toolButton(t.fit, "f", () => this.fit()), rule, kerfButton);
    this.tools = h(
      "div",
      { class: "view-buttons" },
      h("div", { class: "tool-row" }, this.which, this.flatTools),
      this.kerfWords,
      this.foldPlace,
      h("details", { class: "tool-help" }, h("summary", {}, t.keys), h("p", { class: "quiet" }, t.flatKeys)),
    );
    this.kerfWords.hidden = true;
    this.element.append(this.flatView.element);
    keys([this.element, this.tools], {
      f: () => this.fit(),
      "0": () => this.fit(),
      m: () => rule.click(),
      w: () => { if (!this.showsFolded) kerfButton?.click(); },
      b: () => { if (this.which) void this.show(!this.showsFolded); },
    });
    keys([this.flatView.drawing as unknown as HTMLElement], { Enter: () => this.flatView.pick() });
  }

  select(index: number | null): void {
    this.chosen = index;
    if (index !== null) this.light(null);
    this.flatView.select(index);
    this.folded?.select(index);
  }

  light(features: Feature[] | null): void {
    this.features = features;
    this.flatView.light(features);
    this.folded?.light(features);
  }

  async lists(): Promise<PartLists> {
    const groups = new Map<string, Feature[]>();
    for (const hole of this.flat.holes) {
      const words = text.lists.round(length(hole.diameter_mm));
      const place = text.lists.at(hole.centre.map((x) => length(x)).join(", "));
      groups.set(words, [...(groups.get(words) ?? []), { words: place, entities: hole.entities }]);
    }
    const holes = [...groups].map(([words, items]): FeatureGroup => ({ words, items }));
    const bends = this.flat.bends.map((bend, i): FeatureGroup => {
      const [x0, y0, x1, y1] = bend.line;
      const radius = bend.radius_mm === null ? null : length(bend.radius_mm);
      const words = text.lists.bend(i + 1, text.bendLabel(bend.direction, bend.angle_deg), radius, length(Math.hypot(x1 - x0, y1 - y0)));
      return { words, items: [{ words, bends: [i], entities: bend.entity === null ? [] : [bend.entity] }] };
    });
    return { bodies: [], holes, bends, more: [] };
  }

  fit(): void {
    if (this.showsFolded) this.folded!.stage.look("whole", true);
    else this.flatView.fit();
  }

  keep(): Kept {
    const { folded } = this;
    return { sheet: {
      flat: this.flatView.keep(), kerf: this.kerfShown, showsFolded: this.showsFolded,
      folded: folded && { camera: folded.stage.keep(), ways: [...folded.ways], done: folded.done },
    } };
  }

  restore({ sheet }: Kept): void {
    if (!sheet) return;
    this.flatView.restore(sheet.flat);
    this.rule.setAttribute("aria-pressed", String(sheet.flat.measuring.on));
    if (sheet.kerf) this.kerfButton?.click();
    if (sheet.showsFolded && this.which) void this.show(true).then(() => {
      if (!this.folded || !sheet.folded) return;
      this.foldTools?.restore(sheet.folded.ways, sheet.folded.done);
      this.folded.stage.restore(sheet.folded.camera);
    });
  }

  escape(): boolean {
    const { measuring } = this.showsFolded ? this.folded! : this.flatView;
    return measuring.on && measuring.clear();
  }

  lit(): number[] {
    return this.showsFolded ? this.folded!.lit() : this.flatView.lit();
  }

  recolour(): void {
    this.flatView.recolour();
    this.folded?.recolour();
  }

  relabel(): void {
    this.flatView.relabel();
    this.folded?.relabel();
    this.foldTools?.relabel();
    this.sayKerf();
  }

  dispose(): void {
    this.gone = true;
    this.flatView.dispose();
    this.folded?.dispose();
  }

  private measure(on: boolean): void {
    this.flatView.measure(on);
    this.folded?.measure(on);
  }

  private flatOrFolded(): HTMLElement {
    const button = (folded: boolean) =>
      h("button", { type: "button", "aria-pressed": String(!folded), onclick: () => void this.show(folded) }, folded ? t.folded : t.flat);
    return h("div", { class: "switch", role: "group", "aria-label": t.flatOrFolded }, button(false), button(true));
  }

  private async show(folded: boolean): Promise<void> {
    if (folded && !this.folded && !(await this.fetchFolded())) return;
    this.showsFolded = folded;
    [...this.which!.children].forEach((x, i) => x.setAttribute("aria-pressed", String((i === 1) === folded)));
    if (this.kerfButton) this.kerfButton.hidden = folded;
    this.flatView.element.hidden = folded;
    this.kerfWords.hidden = folded || !this.kerfShown;
    if (this.foldTools) this.foldTools.element.hidden = !folded;
    this.folded!.element.hidden = !folded;
    if (folded) this.folded!.stage.draw();
  }

  private async fetchFolded(): Promise<boolean> {
    if (this.asked || this.gone) return false;
    this.asked = true;
    fill(this.foldPlace, h("p", { class: "quiet", role: "status" }, text.folding.loading));
    try {
      const sent = await this.askFolded();
      if (this.gone) return false;
      const made = new FoldedView(sent, this.flat, this.findings, this.onPick);
      this.folded = made;
      this.foldTools = new FoldTools(made);
      made.measure(this.flatView.measuring.on);
      made.select(this.chosen);
      made.light(this.features);
      this.element.append(made.element);
      fill(this.foldPlace, this.foldTools.element);
      return true;
    } catch (error) {
      fill(this.foldPlace, h("p", { class: "quiet", role: "status" }, text.folding.failed(error instanceof Error ? error.message : String(error))));
      return false;
    } finally {
      this.asked = false;
    }
  }

  private showKerf(on: boolean): void {
    const [least, most] = this.flat.kerf_mm!;
    this.flatView.showKerf(on ? (least + most) / 2 : null);
    this.kerfShown = on;
    this.kerfWords.hidden = !on;
    this.sayKerf();
  }

  private sayKerf(): void {
    const kerf = this.flat.kerf_mm;
    if (kerf) this.kerfWords.textContent = text.kerfWords(length(kerf[0]), length(kerf[1]));
  }
}
