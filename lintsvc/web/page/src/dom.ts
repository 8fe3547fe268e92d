// Small helpers to make elements. Text only ever goes in as text: names in files and reports are never markup.

export type Child = Node | string | number | null | undefined | false;
type Attributes = Record<string, string | number | boolean | null | undefined | ((event: never) => void)>;

/** Make an HTML element. Attributes that are functions become listeners ("onclick"). */
export function h<K extends keyof HTMLElementTagNameMap>(
  tag: K,
  attributes: Attributes = {},
  ...children: Child[]
): HTMLElementTagNameMap[K] {
  const element = document.createElement(tag);
  set(element, attributes);
  add(element, children);
  return element;
}

/** Make an SVG element. */
export function s<K extends keyof SVGElementTagNameMap>(
  tag: K,
  attributes: Attributes = {},
  ...children: Child[]
): SVGElementTagNameMap[K] {
  const element = document.createElementNS("http://www.w3.org/2000/svg", tag);
  set(element, attributes);
  add(element, children);
  return element;
}

function set(element: Element, attributes: Attributes): void {
  for (const [key, value] of Object.entries(attributes)) {
    if (value === null || value === undefined || value === false) continue;
    if (typeof value === "function") element.addEventListener(key.slice(2), value as EventListener);
    else element.setAttribute(key, value === true ? "" : String(value));
  }
}

function add(element: Element, children: Child[]): void {
  for (const child of children) {
    if (child === null || child === undefined || child === false) continue;
    element.append(child instanceof Node ? child : String(child));
  }
}

/** Replace everything inside an element. */
export function fill(element: Element, ...children: Child[]): void {
  element.replaceChildren();
  add(element, children);
}

/** What has the focus inside an element, by its name; null where nothing there has it, or it has no name. */
export function focused(root: Element): string | null {
  const active = document.activeElement;
  return active && root.contains(active) ? ((active as HTMLElement).dataset.focus ?? active.getAttribute("name")) : null;
}

/** Put the focus on the thing of that name. False where there is none. */
export function focusOn(root: Element, name: string): boolean {
  for (const element of root.querySelectorAll<HTMLElement>("[data-focus], [name]")) {
    if ((element.dataset.focus ?? element.getAttribute("name")) !== name) continue;
    element.focus({ preventScroll: true });
    return true;
  }
  return false;
}

/** Draw something anew and put the focus back to where it was: on the thing of the same name. */
export function keepFocus(root: Element, draw: () => void): void {
  const name = focused(root);
  draw();
  if (name && !root.contains(document.activeElement)) focusOn(root, name);
}
