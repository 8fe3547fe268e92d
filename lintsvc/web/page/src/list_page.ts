// Several files: one line each with how far it is and what came of it.
import { type Batch, type Item, isDone } from "./batch";
import { fill, h } from "./dom";
import { levelMark, passMark } from "./panel/marks";
import { text } from "./strings";
import { fileSize } from "./units";

const t = text.list;

export class ListPage {
  readonly element = h("div", { class: "list-page" });
  private readonly title = h("h1", {});
  private readonly all = h("progress", { max: 1, value: 0, "aria-label": t.progress });
  private readonly notes = h("div", { class: "notes", role: "status", "aria-live": "polite" });
  private readonly list = h("ul", { class: "order-list" });
  private readonly rows = new Map<Item, Row>();
  private readonly stopAll = h("button", { type: "button", class: "plain", onclick: () => this.batch.items.filter((x) => !isDone(x)).forEach((x) => this.batch.cancel(x)) }, t.stopAll);
  private readonly forget: () => void;

  constructor(private readonly batch: Batch, go: (path: string) => void) {
    const open = (item: Item) => go(`/checks/${item.id}#files=${batch.ids().join(".")}`);
    for (const item of batch.items) {
      const row = new Row(item, batch, open);
      this.rows.set(item, row);
      this.list.append(row.element);
    }
    fill(
      this.element,
      this.title,
      this.all,
      this.notes,
      this.list,
      batch.leftOut.length ? h("details", { class: "quiet" }, h("summary", {}, t.leftOut(batch.leftOut.length)), batch.leftOut.join(", ")) : null,
      h("p", { class: "buttons-left" }, this.stopAll, h("a", { class: "plain", href: "/", onclick: (event: MouseEvent) => { event.preventDefault(); go("/"); } }, text.newCheck)),
    );
    this.forget = batch.onChange(() => this.update());
    this.update();
  }

  dispose(): void {
    this.forget();
  }

  private update(): void {
    const { items } = this.batch;
    const bad = items.filter((x) => (x.check?.summary?.error ?? 0) + (x.check?.summary?.unreadable ?? 0) > 0 || x.state === "failed").length;
    const look = items.filter((x) => !x.check?.summary?.error && (x.check?.summary?.warning ?? 0) > 0).length;
    const done = this.batch.done;
    this.title.textContent = done < items.length ? t.under(done, items.length) : t.over(items.length, bad, look);
    document.title = `${this.title.textContent} – ${text.name}`;
    this.all.value = items.reduce((sum, x) => sum + share(x), 0) / Math.max(items.length, 1);
    this.stopAll.hidden = done === items.length;
    const said = [
      this.batch.connected ? null : text.errors.network,
      this.batch.waitSeconds ? t.wait(this.batch.waitSeconds, items.find((x) => x.state === "waiting" && x.error)?.error ?? "") : null,
      this.batch.unsent.length ? t.unsent(this.batch.unsent) : null,
    ].filter(Boolean) as string[];
    const now = said.join("\n");
    // Written only when it changed: a screen reader says it once.
    if (this.notes.dataset.said !== now) {
      this.notes.dataset.said = now;
      fill(this.notes, ...said.map((x) => h("p", { class: "problem" }, x)));
    }
    for (const row of this.rows.values()) row.update();
    if (this.batch.ids().length) history.replaceState(history.state, "", `/#files=${this.batch.ids().join(".")}`);
  }
}

/** How far one is, 0 to 1: sending is the first half. */
function share(item: Item): number {
  if (isDone(item)) return 1;
  return item.check ? 0.5 + item.check.percent / 200 : item.sent / 2;
}

class Row {
  readonly element = h("li", { class: "order-item" });
  private readonly mark = h("span", { class: "order-mark" });
  private readonly name = h("span", { class: "order-name" });
  private readonly status = h("span", { class: "order-status" });
  private readonly bar = h("progress", { max: 1, value: 0 });
  private readonly button = h("button", { type: "button", class: "plain" });
  private shown = "";

  constructor(private readonly item: Item, private readonly batch: Batch, private readonly open: (item: Item) => void) {
    this.button.addEventListener("click", () => (this.item.state === "failed" || this.item.state === "stopped" ? this.batch.retry(this.item) : this.batch.cancel(this.item)));
    this.element.append(this.mark, this.name, this.status, this.bar, this.button);
    this.update();
  }

  update(): void {
    const { item } = this;
    const { check } = item;
    const over = isDone(item);
    const again = (item.state === "failed" || item.state === "stopped") && item.file !== null && !item.tooBig;
    this.bar.value = share(item);
    this.bar.style.visibility = over ? "hidden" : "visible";
    this.bar.setAttribute("aria-label", t.of(item.name));
    const words = status(item);
    // The bar moves on; the rest is written only when it says something else.
    const folder = this.batch.apart(item);
    const now = JSON.stringify([item.name, folder, item.id, words, over, again, check?.summary]);
    if (now === this.shown) return;
    this.shown = now;
    const focused = document.activeElement === this.name.firstElementChild;
    fill(this.name, item.id
      ? h("a", { href: `/checks/${item.id}`, onclick: (event: MouseEvent) => { event.preventDefault(); this.open(item); } }, item.name)
      : item.name, folder ? h("span", { class: "quiet" }, ` ${t.inFolder(folder)}`) : null, item.bytes === null ? null : h("span", { class: "quiet" }, ` ${fileSize(item.bytes)}`));
    if (focused) (this.name.firstElementChild as HTMLElement | null)?.focus();
    this.status.textContent = words;
    fill(this.mark, mark(item));
    this.button.textContent = again ? t.again : t.cancel;
    this.button.setAttribute("aria-label", `${this.button.textContent}: ${item.name}`);
    this.button.style.visibility = over && !again ? "hidden" : "visible";
    this.element.classList.toggle("order-bad", item.state === "failed" || check?.state === "failed");
  }
}

function mark(item: Item): SVGSVGElement | null {
  const sum = item.check?.summary;
  if (item.state === "failed" || item.check?.state === "failed" || sum?.unreadable || sum?.error) return levelMark("error");
  if (sum?.warning) return levelMark("warning");
  if (sum?.note || sum?.not_checked) return levelMark("note");
  return item.check?.state === "done" ? passMark() : null;
}

function status(item: Item): string {
  const { check } = item;
  if (item.state === "failed") return item.error ?? t.failed;
  if (item.state === "stopped") return t.notSent;
  if (item.state === "waiting") return t.waiting;
  if (item.state === "sending") return text.uploading(Math.round(100 * item.sent));
  if (!check || check.state === "queued") return text.waiting;
  if (check.state === "running") return text.step(check.step);
  if (check.state !== "done" || !check.summary) return check.problem ?? text.states[check.state] ?? check.state;
  return text.summary(check.summary);
}
