// What arrived: sizes typed in or a table chosen, judged by the service; and the shop's own figures to keep.
import { ServiceError } from "../api";
import { fill, h } from "../dom";
import { table } from "./blocks";
import { saveText } from "./new_page";
import { text as strings } from "../strings";
import { type Arrival, type OrderPart, judge } from "./order_api";

const words = strings.order;

const quoted = (value: string) => (/[",\r\n]/.test(value) ? `"${value.replace(/"/g, '""')}"` : value);

/** The table of results as CSV, from what was typed: part, piece, size, measured. */
export function resultsText(values: Map<string, string>): string {
  const rows = [...values].filter(([, value]) => value.trim()).map(([key, value]) => [...(JSON.parse(key) as string[]), value.trim()].map(quoted).join(","));
  return ["part,piece,size,measured", ...rows].join("\r\n") + "\r\n";
}

export class ArrivalPanel {
  readonly element: HTMLElement;
  private readonly values = new Map<string, string>();
  private readonly fields = new Map<string, HTMLElement>();
  private readonly outcome = h("div", { class: "order-outcome", "aria-live": "polite" });
  private readonly button = h("button", { type: "button", class: "button", onclick: () => void this.send(resultsText(this.values), this.values.size > 0, true) }, words.judge);

  constructor(private readonly id: string, parts: OrderPart[]) {
    const file = h("input", { type: "file", accept: ".csv,text/csv", class: "sr", id: "order-results", onchange: () => {
      const chosen = file.files?.[0];
      if (chosen) void chosen.text().then((x) => this.send(x, true));
    } });
    this.element = h("section", { class: "panel order-arrival", "aria-labelledby": "order-arrival" },
      h("h2", { id: "order-arrival" }, words.arrival),
      h("p", { class: "quiet" }, words.arrivalWhy),
      ...parts.filter((x) => x.sizes.length).map((x) => this.part(x)),
      h("p", { class: "buttons-left" }, this.button, h("label", { class: "button second", for: "order-results" }, words.chooseTable), file),
      this.outcome);
  }

  private part(part: OrderPart): HTMLElement {
    const pieces = [...Array(part.pieces).keys()].map((x) => x + 1);
    const field = (size: OrderPart["sizes"][number], piece: number) => {
      const key = JSON.stringify([part.id, String(piece), size.id]);
      const shared = {
        class: "order-measured", name: `${part.id}:${piece}:${size.id}`,
        "aria-label": `${part.id}, ${words.piece(piece)}, ${size.id}: ${size.what}`,
        oninput: (event: Event) => {
          const made = event.currentTarget as HTMLInputElement | HTMLSelectElement;
          this.values.set(key, made.value);
          made.removeAttribute("aria-invalid");
        },
      };
      const made = size.yes_no
        ? h("select", shared, ...["", "yes", "no"].map((x) => h("option", { value: x }, x && words[x as "yes" | "no"])))
        : h("input", { ...shared, size: 6, autocomplete: "off", inputmode: "decimal" });
      this.fields.set(key, made);
      return made;
    };
    return h("details", { class: "opening order-measure" },
      h("summary", {}, h("b", {}, part.id), h("span", { class: "quiet" }, part.file)),
      h("div", { class: "table-scroll" }, table(
        [words.size, words.what, words.limits, words.with, ...pieces.map(words.piece)],
        part.sizes.map((x) => [x.id, x.what, x.limits, x.with, ...pieces.map((piece) => field(x, piece))]))));
  }

  private async send(text: string, some: boolean, typed = false): Promise<void> {
    if (!some || !text.trim()) {
      fill(this.outcome, h("p", { class: "problem" }, words.nothing));
      return;
    }
    this.button.disabled = true;
    fill(this.outcome, h("p", { class: "quiet" }, words.judging));
    try {
      this.show(await judge(this.id, text));
    } catch (error) {
      const said = error instanceof ServiceError ? error.message : String(error);
      fill(this.outcome, h("p", { class: "problem order-status-line", role: "alert" }, typed ? this.atFields(said) : said));
    } finally {
      this.button.disabled = false;
    }
  }

  /** Troubles of a table that was typed in name its lines: said of the fields they came from instead. */
  private atFields(said: string): string {
    const rows = [...this.values].filter(([, value]) => value.trim()).map(([key]) => key);
    let first: HTMLElement | null = null;
    const told = said.split("\n").map((line) => {
      const [, number, what] = /^.*?, line (\d+): (.*)$/.exec(line) ?? [];
      const key = number ? rows[Number(number) - 2] : undefined;
      if (!key || !what) return line;
      const field = this.fields.get(key) ?? null;
      field?.setAttribute("aria-invalid", "true");
      first ??= field;
      const [part, piece, size] = JSON.parse(key) as [string, string, string];
      return `${part}, ${words.piece(Number(piece))}, ${size}: ${what}`;
    });
    (first as HTMLElement | null)?.focus();
    return told.join("\n");
  }

  private show(arrival: Arrival): void {
    if (!arrival.pieces.length) {
      fill(this.outcome, h("p", { class: "problem" }, words.nothing));
      return;
    }
    const line = (x: Arrival["pieces"][number]) => h("li", { class: `order-${x.verdict}` },
      h("b", {}, words.verdicts[x.verdict] ?? x.verdict), ` ${x.part}, ${words.piece(Number(x.piece) || 0).replace("0", x.piece)}`, h("span", { class: "quiet" }, words.notMeasured(x.missing.length)),
      h("ul", {}, ...x.sizes.filter((y) => y.verdict !== "accept").map((y) => h("li", {}, `${y.size}, ${y.what}: ${said(y)}${y.way ? `: ${y.way}` : ""}`))));
    fill(this.outcome,
      h("ul", { class: "plain-list" }, ...arrival.pieces.map(line)),
      arrival.left_out.length ? h("p", { class: "quiet" }, `${words.leftOut}: ${arrival.left_out.join("; ")}`) : null,
      arrival.said ? h("p", {}, arrival.said) : null,
      ...arrival.shop_says.map((x) => h("p", { class: "quiet" }, x)),
      h("p", { class: "quiet" }, words.shopWhy),
      h("p", { class: "buttons-left" }, h("button", { type: "button", class: "plain", onclick: () => saveText("shop.toml", arrival.shop) }, words.saveShop)));
  }
}

function said(x: Arrival["pieces"][number]["sizes"][number]): string {
  if (!x.unit) return x.measured ? words.yes : words.no;
  const unit = x.unit === "deg" ? "°" : " mm";
  const short = (value: number) => String(Math.round(value * 1000) / 1000);
  return `${short(x.measured)}${unit} (${short(x.least)} … ${short(x.most)}${unit})`;
}
