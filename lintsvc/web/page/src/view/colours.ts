// The views take their colours from the style sheet, so that light and dark stay in one place.

export interface Colours {
  part: string;
  edge: string;
  error: string;
  warning: string;
  note: string;
  chosen: string;
  accent: string;
  ink: string;
  quiet: string;
  ground: string;
  faint: string;
  bendUp: string;
  bendDown: string;
  engrave: string;
}

export function colours(): Colours {
  const style = getComputedStyle(document.documentElement);
  const get = (name: string) => style.getPropertyValue(`--${name}`).trim();
  return {
    part: get("part"),
    edge: get("part-edge"),
    error: get("error"),
    warning: get("warning"),
    note: get("note"),
    chosen: get("chosen"),
    accent: get("accent"),
    ink: get("ink"),
    quiet: get("quiet"),
    ground: get("sheet"),
    faint: get("faint"),
    bendUp: get("bend-up"),
    bendDown: get("bend-down"),
    engrave: get("engrave"),
  };
}
