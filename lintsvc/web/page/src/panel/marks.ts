// Signs of the levels: form as well as colour tells them apart.
import { s } from "../dom";
import type { Level } from "../report";

export function levelMark(level: Level): SVGSVGElement {
  const mark = s("svg", { class: `mark mark-${level}`, viewBox: "0 0 16 16", "aria-hidden": "true" });
  if (level === "error") mark.append(s("path", { d: "M5 .5h6l4.5 4.5v6L11 15.5H5L.5 11V5z" }), s("path", { class: "mark-sign", d: "M5 5l6 6m0-6l-6 6" }));
  else if (level === "warning") mark.append(s("path", { d: "M8 .8L15.6 15H.4z" }), s("path", { class: "mark-sign", d: "M8 5.5v5m0 1.6v1" }));
  else mark.append(s("circle", { cx: 8, cy: 8, r: 7.5 }), s("path", { class: "mark-sign", d: "M8 7v5M8 4v1" }));
  return mark;
}

export function passMark(): SVGSVGElement {
  const mark = s("svg", { class: "mark mark-pass", viewBox: "0 0 16 16", "aria-hidden": "true" });
  mark.append(s("rect", { x: 0.5, y: 0.5, width: 15, height: 15, rx: 3 }), s("path", { class: "mark-sign", d: "M4 8.5l2.6 2.6L12 5.4" }));
  return mark;
}
