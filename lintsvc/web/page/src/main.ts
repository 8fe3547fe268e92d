// The page's frame: header, and either the start or one check.
import { CheckPage } from "./check_page";
import { fill, h } from "./dom";
import { startPage } from "./start_page";
import { text } from "./strings";
import { type LengthUnit, lengthUnit, setLengthUnit } from "./units";

const app = document.getElementById("app")!;
const main = h("main", { id: "main", tabindex: -1 });
let shown: CheckPage | null = null;

type Theme = "auto" | "light" | "dark";
const THEME = "lintsvc.theme";

function applyTheme(theme: Theme): void {
  if (theme === "auto") delete document.documentElement.dataset.theme;
  else document.documentElement.dataset.theme = theme;
}

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
        shown?.relabel();
      },
    }, id);
  return h(
    "header",
    { class: "top" },
    h("a", { class: "skip", href: "#main" }, text.skip),
    h("a", { href: "/", class: "name", onclick: (event: MouseEvent) => { event.preventDefault(); go("/"); } }, text.name),
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
          shown?.recolour();
        },
      },
      ...(["auto", "light", "dark"] as const).map((x) => h("option", { value: x, selected: x === theme }, text.themes[x])),
    ),
  );
}

/** Show an address of this page without loading it anew. */
export function go(path: string): void {
  if (location.pathname !== path) history.pushState(null, "", path);
  route();
}

function route(): void {
  shown?.dispose();
  shown = null;
  const id = /^\/checks\/([\w-]+)$/.exec(location.pathname)?.[1];
  if (id) {
    shown = new CheckPage(id, go);
    fill(main, shown.element);
  } else {
    document.title = `${text.name}: ${text.tagline}`;
    fill(main, startPage(go));
  }
}

matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => shown?.recolour());
window.addEventListener("popstate", route);
app.append(header(), main);
route();
