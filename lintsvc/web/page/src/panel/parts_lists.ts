// Bodies, holes and bends as lists; what is chosen lights up in the view.
import { fill, h } from "../dom";
import { text } from "../strings";
import type { Feature, FeatureGroup, PartLists, PartView } from "../view/placed";

const t = text.lists;
/** A group of more than this is lit together only. */
const MOST_SINGLE = 40;

export class ListsPanel {
  readonly element = h("section", { class: "panel parts-lists", "aria-labelledby": "lists-title", hidden: true });
  private view: PartView | null = null;
  /** What is lit: list, group and, where it is a single one, its place in the group. */
  private chosen: string | null = null;

  /** Show the lists of a view that was just made. */
  show(view: PartView): void {
    this.view = view;
    this.chosen = null;
    this.element.hidden = false;
    fill(this.element, h("h2", { id: "lists-title" }, t.title), h("p", { class: "quiet", role: "status" }, t.loading));
    this.relabel();
  }

  clear(): void {
    this.view = null;
    this.chosen = null;
    this.element.hidden = true;
  }

  /** Nothing of the lists is lit any more: something else was chosen. */
  end(): void {
    if (this.chosen === null) return;
    this.chosen = null;
    this.view?.light(null);
    this.press();
  }

  /** Write the lists again, in the unit that was chosen. */
  relabel(): void {
    const { view } = this;
    if (!view) return;
    view.lists().then(
      (lists) => { if (view === this.view) this.draw(lists); },
      (error: unknown) => {
        if (view === this.view) fill(this.element, h("h2", { id: "lists-title" }, t.title), h("p", { class: "quiet" }, error instanceof Error ? error.message : String(error)));
      },
    );
  }

  private draw(lists: PartLists): void {
    const focused = (document.activeElement as HTMLElement | null)?.dataset.key;
    const parts = (["bodies", "holes", "bends"] as const).filter((x) => lists[x].length);
    fill(
      this.element,
      h("h2", { id: "lists-title" }, t.title),
      h("p", { class: "quiet" }, parts.length ? t.hint : t.none),
      ...parts.map((name) =>
        h(
          "details",
          { open: lists[name].length <= 12 },
          h("summary", {}, `${t[name]} (${lists[name].reduce((n, x) => n + x.items.length, 0)})`),
          h("ul", { class: "features" }, ...lists[name].map((group, i) => this.group(`${name}-${i}`, group))),
        ),
      ),
      ...lists.more.map((x) => h("p", { class: "quiet" }, x)),
    );
    this.press();
    if (focused) this.element.querySelector<HTMLElement>(`[data-key="${focused}"]`)?.focus({ preventScroll: true });
  }

  private group(key: string, { words, items }: FeatureGroup): HTMLElement {
    const single = items.length > 1 && items.length <= MOST_SINGLE;
    return h(
      "li",
      {},
      this.button(key, items.length > 1 ? `${items.length} × ${words}` : words, null, items),
      single
        ? h("span", { class: "features-each" }, ...items.map((x, i) => this.button(`${key}-${i}`, String(i + 1), t.each(i + 1, `${words}, ${x.words}`), [x])))
        : null,
    );
  }

  private button(key: string, words: string, label: string | null, features: Feature[]): HTMLElement {
    return h("button", {
      type: "button", class: "feature", "data-key": key, "aria-label": label, title: label,
      onclick: () => {
        const on = this.chosen !== key;
        this.chosen = on ? key : null;
        this.view?.light(on ? features : null);
        this.press();
      },
    }, words);
  }

  private press(): void {
    for (const button of this.element.querySelectorAll<HTMLElement>(".feature")) {
      button.setAttribute("aria-pressed", String(button.dataset.key === this.chosen));
    }
  }
}
