// A panel that opens: what it shows costs a question to the service, and is asked for only then.
import { fill, focused, focusOn, h, type Child } from "../dom";
import { text } from "../strings";

/** `draw` fills the panel; it is called when the panel opens, and again when `again` is. */
export class OpeningPanel {
  readonly element: HTMLDetailsElement;
  private readonly body = h("div", { class: "opening-body" });
  private readonly summary: HTMLElement;
  private drawn = false;
  /** What is to get the focus when it is there. */
  private wanted: string | null = null;

  constructor(title: string, hint: string, private readonly draw: () => Promise<Child[]> | Child[]) {
    this.summary = h("summary", {}, h("h2", {}, title), h("span", { class: "quiet" }, hint));
    this.element = h("details", { class: "panel opening", ontoggle: () => { if (this.element.open && !this.drawn) void this.again(); } },
      this.summary, this.body);
  }

  /** Stand where another panel of its kind stood: as open as that, and with the focus where it was. */
  replace(before: OpeningPanel | undefined): () => void {
    if (!before) return () => undefined;
    this.element.open = before.element.open;
    const inside = before.body.contains(document.activeElement);
    this.wanted = inside ? focused(before.body) : null;
    const here = inside || document.activeElement === before.summary;
    return () => { if (here) this.summary.focus({ preventScroll: true }); };
  }

  /** Draw what it shows anew, the focus staying where it is; nothing while it is closed. */
  async again(): Promise<void> {
    this.drawn = this.element.open;
    if (!this.drawn) return;
    if (!this.body.childElementCount) fill(this.body, h("p", { class: "quiet", role: "status" }, text.loading));
    try {
      const drawn = await this.draw();
      const inside = this.body.contains(document.activeElement);
      const name = inside ? focused(this.body) : document.activeElement === this.summary ? this.wanted : null;
      this.wanted = null;
      fill(this.body, ...drawn);
      // What had the focus may be gone: then it is at the panel's head, not at the top of the page.
      if ((inside || name) && !(name && focusOn(this.body, name))) this.summary.focus({ preventScroll: true });
    } catch (error) {
      this.drawn = false;
      fill(this.body, h("p", { class: "problem", role: "alert" }, error instanceof Error ? error.message : String(error)),
        h("button", { type: "button", class: "plain", onclick: () => void this.again() }, text.list.again));
    }
  }
}
