// Taking it along: reports, geometry with highlights, a link to share.
import * as api from "../api";
import { type Child, fill, h } from "../dom";
import type { PartReport } from "../report";
import { text } from "../strings";
import { OpeningPanel } from "./opening";

const t = text.sharing;

export function outPanel(check: api.Check, part: PartReport, file: number, back: Child, remove: (() => void) | null): HTMLElement {
  const highlight = part.part?.kind === "sheet" && part.process === "sheet" ? ["svg", "dxf"] : ["glb"];
  return h(
    "section",
    { class: "panel", "aria-labelledby": "out-title" },
    h("h2", { id: "out-title" }, text.reports),
    h(
      "ul",
      { class: "links" },
      ...Object.entries(text.reportKinds).map(([kind, [name, what]]) => h("li", {}, h("a", { href: api.reportUrl(check.id, kind), download: true }, name), h("span", { class: "quiet" }, ` ${what}`))),
      ...(part.part ? highlight.map((kind) => h("li", {}, h("a", { href: api.highlightsUrl(check.id, kind, file), download: true }, `${text.highlights} (${kind.toUpperCase()})`), h("span", { class: "quiet" }, ` ${text.highlightKinds[kind]}`))) : []),
    ),
    h("p", { class: "quiet" }, text.estimate),
    h("p", { class: "buttons-left" }, back, remove ? h("button", { type: "button", class: "plain", onclick: remove }, text.remove) : null),
  );
}

/** Links that let others look at this check. */
export class SharePanel {
  readonly panel: OpeningPanel;
  private made: string | null = null;
  private days = "30";

  /** `before`: the panel that stood here; how long a link is to hold stays as it was chosen there. */
  constructor(private readonly id: string, before: SharePanel | null) {
    if (before) this.days = before.days;
    this.panel = new OpeningPanel(t.title, t.hint, async () => this.draw((await api.shares(id)).shares));
  }

  private draw(shares: api.Share[]): Child[] {
    const days = h("select", { name: "days", "aria-label": t.holds, onchange: () => { this.days = days.value; } }, ...Object.entries(t.days).map(([value, words]) => h("option", { value, selected: value === this.days }, words)));
    const told = h("span", { class: "quiet", role: "status" });
    const link = h("input", { readonly: true, value: this.made ?? "", "aria-label": t.link, "data-focus": "link", class: "share-link", onfocus: () => link.select() });
    return [
      h("form", { class: "share-form", onsubmit: (event: SubmitEvent) => {
        event.preventDefault();
        void api.share(this.id, days.value === "0" ? "" : days.value).then((address) => { this.made = address; void this.panel.again(); }, (error: unknown) => { told.textContent = error instanceof Error ? error.message : String(error); });
      } }, h("label", {}, h("span", {}, t.holds), days), h("button", { type: "submit", class: "plain", "data-focus": "make" }, t.make)),
      this.made ? h("div", { class: "share-made" }, link, h("button", { type: "button", class: "plain", "data-focus": "copy", onclick: () => {
        link.select();
        navigator.clipboard.writeText(link.value).then(() => { told.textContent = t.copied; }, () => { told.textContent = t.copyByHand; });
      } }, t.copy)) : null,
      this.made ? h("p", { class: "quiet" }, t.once) : null,
      told,
      shares.length
        ? h("ul", { class: "plain-list share-list" }, ...shares.map((x) => this.row(x)))
        : h("p", { class: "quiet" }, t.none),
    ];
  }

  private row(share: api.Share): HTMLElement {
    const row = h("li", {}, h("span", {}, t.one(text.when(share.created), share.expires ? text.when(share.expires) : null)),
      h("button", { type: "button", class: "plain", onclick: () => {
        void api.revoke(this.id, share.id).then(() => { this.made = null; void this.panel.again(); }, (error: unknown) => fill(row, error instanceof Error ? error.message : String(error)));
      } }, t.revoke));
    return row;
  }
}
