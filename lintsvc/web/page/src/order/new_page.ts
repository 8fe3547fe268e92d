// A new order: drop the parts, say what each is made of, and write the order file; or drop one that is there, and its
// parts are found by their names.
import { ServiceError, materials } from "../api";
import { PART, unread } from "../batch";
import { fill, h } from "../dom";
import { levelMark, passMark } from "../panel/marks";
import { dropped } from "../start_page";
import { text as strings } from "../strings";
import { orders, sendOrder } from "./order_api";
import { type PartFields, idOf, namedFiles, orderText, ordersIn } from "./toml";

const words = strings.order;

const FINISHES = ["", "anodise", "hard-anodise", "powder-coat", "paint", "zinc", "dye"];
const PROCESSES = ["", "powder-bed", "sheet"];

export class NewOrderPage {
  readonly element: HTMLElement;
  private files: File[] = [];
  private parts: PartFields[] = [];
  /** The text is the user's own once they changed it, or dropped an order file. */
  private own = false;
  /** Name of the order file that was dropped: then its parts are looked for, and there are no fields. */
  private from = "";
  private leftOut: string[] = [];
  private readonly name = h("input", { name: "name", id: "order-name", maxlength: 200, oninput: () => this.write() });
  private readonly needBy = h("input", { name: "need_by", id: "order-need-by", type: "date", oninput: () => this.write() });
  private readonly table = h("div", { class: "table-scroll" });
  private readonly text = h("textarea", {
    id: "order-text", name: "text", rows: 16, spellcheck: "false", class: "order-text",
    oninput: () => { this.own = true; this.draw(); },
  });
  private readonly rewrite = h("button", { type: "button", class: "plain", hidden: true, onclick: () => { this.own = false; this.from = ""; this.draw(); } }, words.rewrite);
  private readonly status = h("p", { class: "status order-status-line", role: "status", "aria-live": "polite" });
  private readonly send = h("button", { type: "button", class: "button", disabled: true, onclick: () => void this.submit() }, words.send);
  private readonly textWhy = h("p", { class: "quiet" });
  private readonly materials = h("datalist", { id: "order-materials" });
  private readonly before = h("section", { class: "before", "aria-labelledby": "orders-before" });

  private readonly fields = h("div", { class: "choices" },
    h("label", { for: "order-name" }, words.name, this.name),
    h("label", { for: "order-need-by" }, words.needBy, this.needBy));

  constructor(private readonly go: (path: string) => void, files: File[] = []) {
    document.title = `${words.orders}: ${words.title}`;
    const input = h("input", { type: "file", multiple: true, class: "sr", id: "order-files", onchange: () => void this.take([...(input.files ?? [])]) });
    const zone: HTMLElement = h("div", {
      class: "drop",
      ondragover: (event: DragEvent) => { event.preventDefault(); zone.classList.add("over"); },
      ondragleave: () => zone.classList.remove("over"),
      ondrop: (event: DragEvent) => {
        event.preventDefault();
        zone.classList.remove("over");
        if (event.dataTransfer) void dropped(event.dataTransfer).then((x) => this.take(x));
      },
    }, h("p", { class: "drop-words" }, words.drop), h("p", { class: "buttons" }, h("label", { class: "button", for: "order-files" }, words.choose)), input);
    const save = h("button", { type: "button", class: "plain", onclick: () => saveText("order.toml", this.text.value) }, words.save);
    this.element = h("div", { class: "list-page order-page" },
      h("h1", {}, words.title),
      h("p", { class: "intro" }, words.intro),
      zone,
      this.fields,
      this.table, this.materials,
      h("div", { class: "panel" },
        h("h2", {}, h("label", { for: "order-text" }, words.text)),
        this.textWhy,
        this.text,
        h("p", { class: "buttons-left" }, save, this.rewrite)),
      h("p", { class: "buttons-left" }, this.send), this.status, this.before);
    this.draw();
    if (files.length) void this.take(files);
    void materials().then(({ materials: all }) => fill(this.materials, ...all.map((x) => h("option", { value: x.id }, x.name))), () => undefined);
    void orders().then(({ orders: found }) => {
      const line = (id: string, names: string, created: string) => h("li", {}, h("a", {
        href: `/orders/${id}`, onclick: (event: MouseEvent) => { event.preventDefault(); this.go(`/orders/${id}`); },
      }, names), h("span", { class: "quiet" }, ` ${created.slice(0, 16).replace("T", " ")}`));
      fill(this.before, h("h2", { id: "orders-before" }, words.before),
        found.length ? h("ul", {}, ...found.slice(0, 12).map((x) => line(x.id, x.files.map((y) => y.name).join(", "), x.created))) : h("p", { class: "quiet" }, words.noneBefore));
    }, () => undefined);
  }

  dispose(): void {
    // Nothing runs on.
  }

  /** Take files in, beside those that are here: an order file, and what it names; or parts to write one from. */
  async take(given: File[]): Promise<void> {
    const list = given.filter((x) => !unread.has(x));
    const [order, ...more] = await ordersIn(list);
    if (order) {
      this.text.value = order.text;
      this.own = true;
      this.from = order.file.name;
      this.leftOut = more.map((x) => x.file.name);
    }
    for (const file of list) {
      const lower = file.name.toLowerCase();
      if (lower.endsWith(".toml") && lower !== "shop.toml") continue;
      // A file of the same name takes the place of the one before.
      this.files = [...this.files.filter((x) => x.name !== file.name), file];
      if (!isPart(file.name) || this.parts.some((x) => x.file === file.name)) continue;
      const id = idOf(file.name, this.parts.map((x) => x.id));
      this.parts.push({ file: file.name, id, process: "", material: "", thickness: "", finish: "", quantity: "1", spares: "" });
    }
    this.draw();
  }

  /** The files to send: with an order file of one's own those that it names, else all. */
  private sent(): File[] {
    if (!this.own) return this.files.filter((x) => !isOther(x.name));
    const named = new Set(namedFiles(this.text.value));
    return this.files.filter((x) => named.has(x.name));
  }

  private write(): void {
    if (!this.own) this.text.value = orderText(this.name.value.trim(), this.needBy.value, this.parts);
    this.rewrite.hidden = !this.own;
    this.send.disabled = !this.text.value.trim() || (!this.own && !this.parts.length);
  }

  private draw(): void {
    this.fields.hidden = this.from !== "";
    this.textWhy.textContent = this.from ? words.textGiven : words.textWhy;
    if (this.from) this.drawNamed();
    else this.drawFields();
    this.write();
  }

  /** What the order file names, and which of it is here. */
  private drawNamed(): void {
    const named = namedFiles(this.text.value);
    const here = (name: string) => this.files.some((x) => x.name === name);
    const missing = named.filter((x) => !here(x));
    const others = this.files.map((x) => x.name).filter((x) => !named.includes(x));
    fill(this.table,
      h("h2", {}, words.named(this.from, named.length)),
      h("p", { role: "status", class: missing.length ? "problem" : "" }, missing.length ? words.missingSome(missing) : words.allHere),
      h("ul", { class: "order-named" }, ...named.map((name) =>
        h("li", { class: "with-mark" }, here(name) ? passMark() : levelMark("error"), h("span", {}, name, h("span", { class: "quiet" }, ` ${here(name) ? words.here : words.missing}`))))),
      others.length ? h("p", { class: "quiet" }, words.notNamed(others)) : null,
      this.leftOut.length ? h("p", { class: "quiet" }, words.moreOrders(this.leftOut)) : null);
  }

  private drawFields(): void {
    const c = words.columns;
    const field = (part: PartFields, key: keyof PartFields, label: string, more: Record<string, string> = {}) =>
      h("input", {
        name: `${part.file}:${key}`, value: part[key], "aria-label": `${label}, ${part.file}`, size: 8, ...more,
        oninput: (event: Event) => { part[key] = (event.currentTarget as HTMLInputElement).value; this.write(); },
      });
    const choice = (part: PartFields, key: keyof PartFields, label: string, all: string[]) =>
      h("select", {
        name: `${part.file}:${key}`, "aria-label": `${label}, ${part.file}`,
        onchange: (event: Event) => { part[key] = (event.currentTarget as HTMLSelectElement).value; this.write(); },
      }, ...all.map((x) => h("option", { value: x, selected: x === part[key] }, x || (key === "process" ? words.guess : words.noFinish))));
    const row = (part: PartFields) => h("tr", {},
      h("th", { scope: "row" }, part.file),
      h("td", { "data-head": c.id }, field(part, "id", c.id)),
      h("td", { "data-head": c.process }, choice(part, "process", c.process, PROCESSES)),
      h("td", { "data-head": c.material }, field(part, "material", c.material, { list: "order-materials", size: "14" })),
      h("td", { "data-head": c.thickness }, field(part, "thickness", c.thickness, { placeholder: words.thicknessHint })),
      h("td", { "data-head": c.finish }, choice(part, "finish", c.finish, FINISHES)),
      h("td", { "data-head": c.quantity }, field(part, "quantity", c.quantity, { inputmode: "numeric", size: "4" })),
      h("td", { "data-head": c.spares }, field(part, "spares", c.spares, { inputmode: "numeric", size: "4" })),
      h("td", {}, h("button", { type: "button", class: "plain", "aria-label": `${words.take} ${part.file}`, onclick: () => {
        this.parts = this.parts.filter((x) => x !== part);
        this.files = this.files.filter((x) => x.name !== part.file);
        this.draw();
      } }, words.take)));
    fill(this.table, this.parts.length
      ? h("table", { class: "order-table order-fields" },
        h("thead", {}, h("tr", {}, ...[words.file, ...Object.values(c)].map((x) => h("th", { scope: "col" }, x)), h("td", {}))),
        h("tbody", {}, ...this.parts.map(row)))
      : h("p", { class: "quiet" }, words.none));
  }

  private async submit(): Promise<void> {
    this.send.disabled = true;
    this.status.classList.remove("problem");
    this.status.textContent = words.sending;
    try {
      const order = await sendOrder(this.text.value, this.sent());
      this.go(`/orders/${order.id}`);
    } catch (error) {
      this.status.classList.add("problem");
      this.status.textContent = error instanceof ServiceError ? error.message : String(error);
      this.send.disabled = false;
    }
  }
}

const isPart = (name: string) => PART.test(name);
/** Neither a part nor a shop's figures: nothing to send without an order that names it. */
const isOther = (name: string) => !isPart(name) && name.toLowerCase() !== "shop.toml";

/** Let the browser save a text as a file. */
export function saveText(name: string, text: string): void {
  const address = URL.createObjectURL(new Blob([text], { type: "text/plain" }));
  h("a", { href: address, download: name }).click();
  setTimeout(() => URL.revokeObjectURL(address), 60_000);
}
