// Buttons of the folded view: step through the bends, and turn each of them.
import { h } from "../dom";
import { text } from "../strings";
import { size } from "../units";
import type { FoldedView, Way } from "./folded_view";
import { keys, keysOfStage, toolButton } from "./tool_buttons";

const f = text.folding;

export class FoldTools {
  readonly element: HTMLElement;
  private readonly slider: HTMLInputElement;
  private readonly choices: HTMLSelectElement[];
  private readonly words = h("output", { class: "tool-words" });

  constructor(private readonly view: FoldedView) {
    const count = view.order.length;
    this.slider = h("input", {
      type: "range", class: "tool-slider", min: 0, max: count, step: 0.05, value: count, "aria-label": f.slider,
      oninput: () => this.to(Number(this.slider.value)),
    });
    this.choices = view.folded.bends.map((bend, i) =>
      h(
        "select",
        { class: "tool-choice", onchange: () => {
          view.turn(i, this.choices[i]!.value as Way);
          this.to(view.done);
        } },
        h("option", { value: "said" }, f.said(bend.direction)),
        ...(["up", "down", "flat"] as const).map((x) => h("option", { value: x }, f.ways[x])),
      ),
    );
    const bends = view.folded.bends.map((bend, i) =>
      h("label", { class: "fold-bend" }, h("span", {}, f.name(bend.number + 1, bend.angle_deg)), this.choices[i]!),
    );
    this.element = h(
      "div",
      { class: "fold-tools" },
      h(
        "div",
        { class: "tool-row" },
        toolButton(f.back, "[", () => this.step(-1)),
        this.slider,
        toolButton(f.on, "]", () => this.step(1)),
        this.words,
      ),
      h("div", { class: "tool-row" }, ...bends),
      h("p", { class: "quiet" }, view.folded.order ? f.order(view.folded.order_note) : f.noOrder(view.folded.order_note), " ", f.onlyShown),
    );
    keys([view.element, this.element], { "[": () => this.step(-1), "]": () => this.step(1) });
    keysOfStage(view.stage, () => view.pick());
    this.to(count);
  }

  relabel(): void {
    this.to(this.view.done);
  }

  /** Fold as another view of the same part was folded. */
  restore(ways: Way[], done: number): void {
    const { view } = this;
    if (ways.length !== view.ways.length) return;
    ways.forEach((way, i) => { view.ways[i] = this.choices[i]!.value = way; });
    this.slider.value = String(Math.min(done, view.order.length));
    this.to(Number(this.slider.value));
  }

  private step(by: number): void {
    const from = by > 0 ? Math.floor(this.view.done + 1e-9) : Math.ceil(this.view.done - 1e-9);
    this.slider.value = String(from + by);
    this.to(Number(this.slider.value));
  }

  private to(done: number): void {
    this.view.fold(done);
    const whole = Math.ceil(done - 1e-9);
    const group = whole > 0 ? this.view.order[whole - 1]! : [];
    const words = f.step(whole, this.view.order.length, group.map((x) => x + 1));
    const asSaid = done === this.view.order.length && this.view.ways.every((x) => x === "said");
    this.words.textContent = asSaid ? `${words}; ${f.outside(size(this.view.folded.size_mm))}` : words;
    this.slider.setAttribute("aria-valuetext", words);
  }
}
