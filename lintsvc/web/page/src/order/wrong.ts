// What is wrong with an order, in its parts and between them, worst first: the first thing to be read of it.
import { type Child, h } from "../dom";
import { levelMark } from "../panel/marks";
import type { Level } from "../report";
import { text } from "../strings";
import { inUnit } from "../units";
import { type OrderData, orderEntry } from "./order_api";

const words = text.order;

interface Line { level: Level; rank: number; part: string; says: string; remedy: string; caution: string }

function lines(data: OrderData): Line[] {
  const found: Line[] = [];
  const entries = data.report.parts.map((entry, i) => ({ entry, part: data.parts[i]?.id ?? entry.file }));
  for (const { entry, part } of entries) {
    if (entry.unreadable) found.push({ level: "error", rank: 101, part, says: entry.unreadable.why, remedy: entry.unreadable.remedy ?? "", caution: "" });
  }
  const whole = orderEntry(data);
  for (const { findings, part } of [...entries.map((x) => ({ findings: x.entry.findings, part: x.part })), { findings: whole?.findings ?? [], part: "" }]) {
    for (const x of findings) if (!x.set_aside) found.push({ level: x.level, rank: x.rank, part, says: x.message, remedy: x.remedy, caution: x.caution ?? "" });
  }
  return found.sort((a, b) => b.rank - a.rank);
}

/** `open` shows a part's own page. Null where nothing is wrong. */
export function wrongWith(data: OrderData, open: (part: string) => void): HTMLElement | null {
  const all = lines(data);
  if (!all.length) return null;
  const where = (part: string): Child => (part ? h("button", { type: "button", class: "order-where", onclick: () => open(part) }, part) : h("b", {}, words.together));
  const line = (x: Line) => h("li", { class: `finding finding-${x.level} order-wrong` },
    levelMark(x.level),
    h("div", {},
      h("p", {}, h("span", { class: "sr" }, `${text.levels[x.level]}: `), where(x.part), " ", h("span", { class: "finding-message" }, inUnit(x.says))),
      h("p", {}, inUnit(x.remedy)),
      x.caution ? h("p", { class: "quiet" }, `${text.caution}: ${x.caution}`) : null));
  return h("section", { class: "panel", "aria-labelledby": "order-wrong" }, h("h2", { id: "order-wrong" }, text.whatIsWrong), h("ol", { class: "finding-list" }, ...all.map(line)));
}
