// The page's frame: header, and the start, a list of files, or one check.
import { useShare } from "./api";
import { Batch } from "./batch";
import { CheckPage } from "./check_page";
import { fill, h } from "./dom";
import { ListPage } from "./list_page";
import { NewOrderPage } from "./order/new_page";
import { OrderPage } from "./order/order_page";
import { ordersIn } from "./order/toml";
import { dropped, startPage } from "./start_page";
import { text } from "./strings";
import { type LengthUnit, lengthUnit, setLengthUnit } from "./units";

const app = document.getElementById("app")!;
const main = h("main", { id: "main", tabindex: -1 });
let shown: CheckPage | ListPage | NewOrderPage | OrderPage | null = null;
/** The files under way: they go on while one of them is looked at. */
let batch: Batch | null = null;

type Theme = "auto" | "light" | "dark";
const THEME = "lintsvc.theme";

function applyTheme(theme: Theme): void {
  if (theme === "auto") delete document.documentElement.dataset.theme;
  else document.documentElement.dataset.theme = theme;
}

const check = () => (shown instanceof CheckPage ? shown : null);

function header(): HTMLElement {
  const theme = (localStorage.getItem(THEME) ?? "auto") as Theme;
  applyTheme(theme);
  const unit = (id: LengthUnit) =>
    h("button", {
      type: "button",
      "aria-pressed": String(lengthUnit() === id),
      onclick: (event: MouseEvent) => {
        setLengthUnit(id);
        const group = (event.currentTarget as HTMLElement).parentElement!;
        for (const button of group.children) button.setAttribute("aria-pressed", String(button === event.currentTarget));
        check()?.relabel();
        if (shown instanceof OrderPage) shown.relabel();
      },
    }, id);
  return h(
    "header",
    { class: "top" },
    h("a", { class: "skip", href: "#main", onclick: (event: MouseEvent) => { event.preventDefault(); main.focus(); } }, text.skip),
    h("a", { href: "/", class: "name", onclick: (event: MouseEvent) => { event.preventDefault(); go("/"); } }, text.name),
    h("a", { href: "/orders", onclick: (event: MouseEvent) => { event.preventDefault(); go("/orders"); } }, text.order.orders),
    h("span", { class: "grow" }),
    h("div", { class: "switch", role: "group", "aria-label": text.unit }, unit("mm"), unit("in")),
    h(
      "select",
      {
        class: "theme",
        "aria-label": text.theme,
        onchange: (event: Event) => {
          const next = (event.currentTarget as HTMLSelectElement).value as Theme;
          localStorage.setItem(THEME, next);
          applyTheme(next);
          check()?.recolour();
        },
      },
      ...(["auto", "light", "dark"] as const).map((x) => h("option", { value: x, selected: x === theme }, text.themes[x])),
    ),
  );
}

/** Show an address of this page without loading it anew. */
export function go(path: string): void {
  if (location.pathname + location.hash !== path) history.pushState(null, "", path);
  route();
  window.scrollTo(0, 0);
}

/** Several files were dropped. */
function many(next: Batch): void {
  batch?.dispose();
  batch = next;
  shown?.dispose();
  if (location.pathname !== "/") history.pushState(null, "", "/");
  shown = new ListPage(batch, go);
  fill(main, shown.element);
}

/** An order with its parts was dropped. */
function order(files: File[]): void {
  batch?.dispose();
  batch = null;
  shown?.dispose();
  if (location.pathname !== "/orders") history.pushState(null, "", "/orders");
  shown = new NewOrderPage(go, files);
  fill(main, shown.element);
  window.scrollTo(0, 0);
}

/** Files dropped anywhere: more of an order that is being made, an order, or parts to check. */
async function take(files: File[]): Promise<void> {
  if (!files.length) return;
  if (shown instanceof NewOrderPage) await shown.take(files);
  else if ((await ordersIn(files)).length) order(files);
  else many(Batch.of(files));
}

/** The files that an address names; those under way where they are the same. */
function batchOf(ids: string[]): Batch {
  const same = batch !== null && ids.every((x) => batch!.ids().includes(x));
  if (!same) {
    batch?.dispose();
    batch = Batch.from(ids);
  }
  return batch!;
}

function route(): void {
  shown?.dispose();
  shown = null;
  const words = new URLSearchParams(location.hash.slice(1));
  const ids = (words.get("files") ?? "").split(".").filter((x) => /^[\w-]+$/.test(x));
  useShare(words.get("share") ?? "");
  const id = /^\/checks\/([\w-]+)$/.exec(location.pathname)?.[1] ?? (words.has("share") ? words.get("check") : null);
  const orderAt = /^\/orders(?:\/([\w-]+))?$/.exec(location.pathname);
  if (orderAt) {
    shown = orderAt[1] ? new OrderPage(orderAt[1], go) : new NewOrderPage(go);
    fill(main, shown.element);
  } else if (id) {
    shown = new CheckPage(id, go, ids.length ? batchOf(ids) : null);
    fill(main, shown.element);
  } else if (ids.length) {
    shown = new ListPage(batchOf(ids), go);
    fill(main, shown.element);
  } else {
    batch?.dispose();
    batch = null;
    document.title = `${text.name}: ${text.tagline}`;
    fill(main, startPage(go, { list: many, order }));
  }
}

matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => check()?.recolour());
window.addEventListener("popstate", route);
// A file dropped beside the place for it must not make the browser leave the page; dropped anywhere it is taken.
window.addEventListener("dragover", (event) => event.preventDefault());
window.addEventListener("drop", (event) => {
  if (event.defaultPrevented || !event.dataTransfer) return;
  event.preventDefault();
  void dropped(event.dataTransfer).then(take);
});
app.append(header(), main);
route();
