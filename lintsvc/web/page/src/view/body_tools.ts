// Buttons of the 3D view, and the keys that press them while the view or one of its buttons has the focus.
import { fill, h } from "../dom";
import { text } from "../strings";
import { length } from "../units";
import type { BodyView, Colouring } from "./body_view";
import type { Cut } from "./section";
import type { Look } from "./stage";
import { keys, keysOfStage, switchButton, toolButton } from "./tool_buttons";

const t = text.tools;
const LOOK_KEYS: [Look, string][] = [["whole", "0"], ["top", "1"], ["bottom", "2"], ["front", "3"], ["back", "4"], ["left", "5"], ["right", "6"]];

export class BodyTools {
  readonly element: HTMLElement;
  private readonly cutRow = h("div", { class: "tool-row", role: "group", "aria-label": t.section, hidden: true });
  private readonly cutPlace = h("input", { type: "range", min: 0, max: 1000, step: 1, class: "tool-slider" });
  private readonly cutWords = h("output", { class: "tool-words" });
  private readonly colourChoice: HTMLSelectElement;
  private readonly closer: HTMLButtonElement;
  private readonly cutButton: HTMLButtonElement;
  private readonly edges: HTMLButtonElement;
  private readonly through: HTMLButtonElement;
  private readonly rule: HTMLButtonElement;
  private readonly cuts = new Map<Cut, HTMLButtonElement>();
  private otherSide!: HTMLButtonElement;

  constructor(private readonly view: BodyView) {
    const looks = h(
      "select",
      { class: "tool-choice", "aria-label": t.look, onchange: (event: Event) => view.look((event.currentTarget as HTMLSelectElement).value as Look) },
      ...LOOK_KEYS.map(([look, key]) => h("option", { value: look, title: key }, t.looks[look])),
    );
    this.closer = toolButton(t.closer, "v", () => view.closeUp());
    const edges = this.edges = switchButton(t.edges, "e", true, (on) => view.showEdges(on));
    const through = this.through = switchButton(t.through, "t", false, (on) => view.veilBody(on));
    const cut = this.cutButton = switchButton(t.section, "x", false, (on) => {
      view.cut(on);
      this.follow();
    });
    const rule = this.rule = switchButton(t.measure, "m", false, (on) => view.measure(on));
    this.colourChoice = h(
      "select",
      { class: "tool-choice", "aria-label": t.colours, onchange: () => void view.colour(this.colourChoice.value as Colouring) },
      ...(["plain", "wall", "gap"] as const).map((x) => h("option", { value: x }, t.colourings[x])),
    );
    this.fillCutRow();
    this.element = h(
      "div",
      { class: "view-buttons" },
      h("div", { class: "tool-row" }, toolButton(t.fit, "f", () => view.fit()), looks, this.closer, edges, through, cut, rule, this.colourChoice),
      this.cutRow,
      h("details", { class: "tool-help" }, h("summary", {}, t.keys), h("p", { class: "quiet" }, t.bodyKeys)),
    );
    keys([view.element, this.element], {
      f: () => view.fit(),
      e: () => edges.click(),
      t: () => through.click(),
      x: () => cut.click(),
      m: () => rule.click(),
      s: () => { if (view.section.on) this.turnTo("seen"); },
      v: () => this.closer.click(),
      c: () => {
        this.colourChoice.selectedIndex = (this.colourChoice.selectedIndex + 1) % this.colourChoice.options.length;
        void view.colour(this.colourChoice.value as Colouring);
      },
      ...Object.fromEntries(LOOK_KEYS.map(([look, key]) => [key, () => { looks.value = look; view.look(look); }])),
      "[": () => this.step(-1),
      "]": () => this.step(1),
    });
    keysOfStage(view.stage, () => view.pick());
  }

  /** A close up, and a cut along a measured distance, need one. */
  chosen(hasSpan: boolean): void {
    this.closer.disabled = !hasSpan;
    this.cuts.get("along")!.disabled = !hasSpan;
  }

  /** The unit changed. */
  relabel(): void {
    this.sayCut();
  }

  /** Show how the view is. */
  follow(): void {
    const { view } = this;
    const { section } = view;
    const pressed: [HTMLElement, boolean][] = [
      [this.edges, view.edgesShown], [this.through, view.seeThrough], [this.rule, view.measuring.on], [this.cutButton, section.on],
      [this.otherSide, section.flipped], ...[...this.cuts].map(([cut, button]): [HTMLElement, boolean] => [button, cut === section.cut]),
    ];
    for (const [button, on] of pressed) button.setAttribute("aria-pressed", String(on));
    this.colourChoice.value = view.colouring;
    this.cutRow.hidden = !section.on;
    const [low, high] = section.range();
    this.cutPlace.value = String(high > low ? (1000 * (section.at - low)) / (high - low) : 500);
    this.sayCut();
  }

  private fillCutRow(): void {
    const one = (cut: Cut, label: string, words: string, key = "") => {
      const button = h("button", { type: "button", "aria-label": words, title: key ? `${words} (${key})` : words, "aria-keyshortcuts": key || null, onclick: () => this.turnTo(cut) }, label);
      this.cuts.set(cut, button);
      return button;
    };
    this.cutPlace.setAttribute("aria-label", t.sectionPlace);
    this.cutPlace.addEventListener("input", () => {
      const [low, high] = this.view.section.range();
      this.view.section.at = low + ((high - low) * Number(this.cutPlace.value)) / 1000;
      this.view.section.place();
      this.sayCut();
    });
    this.otherSide = switchButton(t.otherSide, "", false, (on) => {
      this.view.section.flipped = on;
      this.view.section.place();
    });
    const axes = (["x", "y", "z"] as const).map((axis) => one(axis, axis.toUpperCase(), t.across(axis)));
    fill(
      this.cutRow,
      h("div", { class: "switch" }, ...axes, one("seen", t.cutSeen, t.cutSeenWords, "s"), one("along", t.cutAlong, t.cutAlongWords)),
      this.cutPlace,
      this.cutWords,
      this.otherSide,
    );
  }

  private turnTo(cut: Cut): void {
    this.view.turnCut(cut);
    this.follow();
  }

  private step(by: number): void {
    if (!this.view.section.on) return;
    this.cutPlace.value = String(Number(this.cutPlace.value) + by * 20);
    this.cutPlace.dispatchEvent(new Event("input"));
  }

  private sayCut(): void {
    const { section } = this.view;
    const words = section.cut === "seen" || section.cut === "along" ? t.cutFromMiddle(length(section.at)) : `${section.cut} = ${length(section.at)}`;
    this.cutWords.textContent = words;
    this.cutPlace.setAttribute("aria-valuetext", words);
  }
}
