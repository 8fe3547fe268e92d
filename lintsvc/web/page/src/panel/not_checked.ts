// What was not checked stands as plainly as what was: it is not a pass.
import { h } from "../dom";
import type { PartReport } from "../report";
import { text } from "../strings";

export function notCheckedPanel(report: PartReport): HTMLElement | null {
  if (!report.not_checked.length) return null;
  // One reason often holds for many rules; it is said once.
  const reasons = new Map<string, string[]>();
  for (const { rule, why } of report.not_checked) reasons.set(why, [...(reasons.get(why) ?? []), rule]);
  return h(
    "section",
    { class: "panel", "aria-labelledby": "not-checked-title" },
    h("h2", { id: "not-checked-title" }, `${text.notChecked} (${report.not_checked.length})`),
    h("p", { class: "quiet" }, text.notCheckedWhy),
    h(
      "ul",
      { class: "reasons" },
      ...[...reasons].map(([why, rules]) =>
        h("li", {}, why, h("span", { class: "quiet" }, ": ", ...rules.flatMap((x, i) => [i ? ", " : "", x === "*" ? text.everyRule : h("code", {}, x)]))),
      ),
    ),
  );
}
