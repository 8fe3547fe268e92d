// Pages of the packet as the page shows them: the same blocks that its PDF and HTML are written from.
import { type Child, h } from "../dom";
import type { Block, BlockPage } from "./order_api";

/** The blocks of a page, its own title left out. */
export function blocksOf(page: BlockPage): HTMLElement[] {
  return page.blocks.filter((x) => !(x.kind === "head" && x.level === 1)).map(block);
}

function block(x: Block): HTMLElement {
  switch (x.kind) {
    case "head":
      return h("h3", {}, x.text);
    case "line":
      return h("p", { class: x.level ? `order-finding order-finding-${x.level}` : x.quiet ? "quiet" : "" }, x.text);
    case "picture":
      // As a picture and not as markup: nothing in it can act.
      return h("figure", { class: "order-picture" },
        h("img", { src: `data:image/svg+xml;charset=utf-8,${encodeURIComponent(x.svg)}`, alt: x.caption || "" }),
        x.caption ? h("figcaption", { class: "quiet" }, x.caption) : null);
    case "rows":
      return h("div", { class: "table-scroll", tabindex: 0 }, table(x.head, x.rows));
  }
}

/** A table; without a head its first column names the rows. */
export function table(head: string[], rows: Child[][]): HTMLTableElement {
  // On a narrow page the cells of a table for fields stand below each other, each with its head.
  const cell = (x: Child, i: number) => (i === 0 && !head.length ? h("th", { scope: "row" }, x) : h("td", { "data-head": head[i] ?? "" }, x));
  return h("table", { class: head.length ? "order-table" : "order-table order-facts" },
    head.length ? h("thead", {}, h("tr", {}, ...head.map((x) => (x ? h("th", { scope: "col" }, x) : h("td", {}))))) : null,
    h("tbody", {}, ...rows.map((row) => h("tr", {}, ...row.map(cell)))));
}
