// One order: what was found, the order as a whole, its parts, what goes out, and what arrived.
import { ServiceError } from "../api";
import { type Child, fill, h } from "../dom";
import { levelMark, passMark } from "../panel/marks";
import type { Finding, Level } from "../report";
import { text } from "../strings";
import { ArrivalPanel } from "./arrival";
import { blocksOf } from "./blocks";
import { type OrderData, type OrderPart, fileUrl, orderEntry, orderNow, printUrl, removeOrder } from "./order_api";
import { wrongWith } from "./wrong";

const words = text.order;

export class OrderPage {
  readonly element = h("div", { class: "check order-page" });
  /** Another unit of length: what the findings say follows; what goes out stays in mm. */
  relabel: () => void = () => undefined;
  private gone = false;
  private readonly wrong = h("div", {});
  private readonly bar = h("progress", { max: 100, "aria-label": words.waiting });
  private readonly step = h("p", { class: "status", role: "status" });

  constructor(private readonly id: string, private readonly go: (path: string) => void) {
    document.title = words.orders;
    this.begin();
  }

  private begin(): void {
    const stop = h("button", { type: "button", class: "plain", onclick: () => this.remove() }, words.stop);
    fill(this.element, h("div", { class: "verdict" },
      h("h1", {}, words.waiting), this.bar, this.step, h("p", { class: "quiet" }, words.goesOn), h("p", { class: "buttons-left" }, this.link(), stop)));
    this.say(text.waiting);
    void this.wait();
  }

  /** Ask until it is there; a connection that is lost is found again by itself. */
  private async wait(): Promise<void> {
    while (!this.gone) {
      try {
        const now = await orderNow(this.id);
        if (this.gone) return;
        if (!("state" in now)) return this.show(now);
        if (now.percent === undefined) this.bar.removeAttribute("value");
        else this.bar.value = now.percent;
        this.say(now.step ? words.step(now.step) : text.waiting);
        await pause(0.5);
      } catch (error) {
        if (!(error instanceof ServiceError && [0, 429, 503].includes(error.status))) return this.fail(error);
        this.say(error.message);
        await pause(2);
      }
    }
  }

  /** A screen reader says what changes, so nothing is said twice. */
  private say(said: string): void {
    if (this.step.textContent !== said) this.step.textContent = said;
  }

  private remove(): void {
    void removeOrder(this.id).then(() => this.go("/orders"), (error: unknown) => this.fail(error));
  }

  dispose(): void {
    this.gone = true;
  }

  private fail(error: unknown): void {
    if (this.gone) return;
    const said = error instanceof ServiceError ? error.message : String(error);
    const after = error instanceof ServiceError ? error.retryAfter : 0;
    const again = h("button", { type: "button", class: "button second", onclick: () => void this.again(again, after) }, text.list.again);
    fill(this.element, h("div", { class: "verdict" },
      h("h1", { class: "verdict-error" }, words.failed), h("p", { class: "problem order-status-line", role: "alert" }, said),
      h("p", { class: "buttons-left" }, after ? again : null, this.link())));
  }

  /** The service tells a failure for a while before it tries anew. */
  private async again(button: HTMLButtonElement, seconds: number): Promise<void> {
    button.disabled = true;
    for (let left = seconds; left > 0 && !this.gone; left--) {
      button.textContent = words.againIn(left);
      await pause(1);
    }
    if (!this.gone) this.begin();
  }

  private link(): HTMLElement {
    return h("a", { href: "/orders", onclick: (event: MouseEvent) => { event.preventDefault(); this.go("/orders"); } }, words.back);
  }

  private show(data: OrderData): void {
    if (this.gone) return;
    document.title = `${data.name}: ${words.orders}`;
    const whole = orderEntry(data);
    const entries = [...data.report.parts, ...(whole ? [whole] : [])];
    const findings = entries.flatMap((x) => x.findings).filter((x) => !x.set_aside);
    const count = (level: Level) => findings.filter((x) => x.level === level).length;
    const unreadable = data.report.parts.filter((x) => x.unreadable).length;
    const errors = count("error") + unreadable;
    const worst = errors ? "error" : count("warning") ? "warning" : count("note") ? "note" : "clean";
    const link = (name: string, label: string) => h("a", { class: "button second", href: fileUrl(this.id, name), download: name }, label);
    const remove = h("button", { type: "button", class: "plain", onclick: () => { if (confirm(words.removeSure)) this.remove(); } }, words.remove);
    const mark = worst === "clean" ? passMark() : levelMark(worst);
    const n = words.counted(errors, count("warning"), count("note"));
    const missed = entries.reduce((sum, x) => sum + x.not_checked.length, 0);
    this.relabel = () => fill(this.wrong, wrongWith(data, open));
    const parts = new Map(data.parts.map((x) => [x.id, this.part(x, data)]));
    const open = (id: string) => {
      const part = parts.get(id);
      if (!part) return;
      part.setAttribute("open", "");
      part.scrollIntoView({ behavior: "smooth", block: "start" });
      part.querySelector("summary")!.focus({ preventScroll: true });
    };
    this.relabel();
    fill(this.element,
      h("div", { class: "verdict" },
        h("p", { class: "file-name" }, data.name),
        h("h1", { class: `verdict-${worst}` }, mark, words.verdict[worst](n)),
        missed ? h("p", { class: "quiet" }, words.missed(missed)) : null,
        h("p", { class: "buttons-left" }, link("packet.zip", words.packet), link("inspection.pdf", words.sheets), link("results.csv", words.table)),
        h("p", { class: "buttons-left" }, this.link(), remove)),
      this.wrong,
      h("section", { class: "panel order-whole", "aria-labelledby": "order-whole" }, h("h2", { id: "order-whole" }, words.whole), ...blocksOf(data.page)),
      h("section", { class: "order-parts", "aria-labelledby": "order-parts" }, h("h2", { id: "order-parts" }, words.parts), ...parts.values()),
      new ArrivalPanel(this.id, data.parts).element);
  }

  private part(part: OrderPart, data: OrderData): HTMLElement {
    const report = data.report.parts[data.parts.indexOf(part)];
    const found = (report?.findings ?? []).filter((x: Finding) => !x.set_aside);
    const count = (level: Level) => found.filter((x: Finding) => x.level === level).length;
    const said = report?.unreadable ? report.unreadable.why : found.length ? words.counted(count("error"), count("warning"), count("note")) : words.clean;
    return h("details", { class: "panel opening order-part" },
      h("summary", {}, h("b", {}, part.id), h("span", { class: "quiet" }, `${part.file}: ${said}`)),
      h("div", { class: "opening-body" }, part.printable ? this.print(part) : null, ...blocksOf(part.page)));
  }

  private print(part: OrderPart): Child {
    const paper = h("select", { "aria-label": `${words.paper}, ${part.id}`, onchange: () => point() }, ...["A4", "Letter"].map((x) => h("option", { value: x }, x)));
    const offset = h("input", { "aria-label": `${words.offset}, ${part.id}`, value: "0 mm", size: 7, oninput: () => point() });
    const template = h("input", { type: "checkbox", onchange: () => point() });
    const link = h("a", { class: "plain", download: `${part.id}.1to1.pdf` }, words.print);
    const point = () => link.setAttribute("href", printUrl(this.id, part.id, paper.value, offset.value, template.checked));
    point();
    return h("p", { class: "buttons-left order-print" }, link, h("label", { class: "tick" }, words.paper, paper), h("label", { class: "tick" }, words.offset, offset), h("label", { class: "tick" }, template, words.template));
  }
}

const pause = (seconds: number) => new Promise((resolve) => setTimeout(resolve, 1000 * seconds));

