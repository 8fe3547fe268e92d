// What was not checked stands as plainly as what was: it is not a pass.
import { h } from "../dom";
import type { RuleShown } from "../api";
import type { PartReport } from "../report";
import { text } from "../strings";

/** So many rules of one reason are named at once; more are counted, and named when asked for. */
const FEW = 3;
/** What stands in the reasons that a radius said here takes away. */
const NO_RADIUS = /no inside radius/;

export function notCheckedPanel(report: PartReport, known: ReadonlyMap<string, RuleShown>, askRadius: () => HTMLElement | null): HTMLElement | null {
  if (!report.not_checked.length) return null;
  // One reason often holds for many rules; it is said once.
  const reasons = new Map<string, string[]>();
  for (const { rule, why } of report.not_checked) reasons.set(why, [...(reasons.get(why) ?? []), rule]);
  // It is asked once, however many reasons wait for it.
  const first = [...reasons.keys()].find((x) => NO_RADIUS.test(x));
  const named = (rule: string) => {
    if (rule === "*") return h("li", {}, text.everyRule);
    const title = known.get(rule)?.title.replace(/\.$/, "");
    return h("li", {}, title ? `${title} ` : null, h("code", {}, rule));
  };
  return h(
    "section",
    { class: "panel", "aria-labelledby": "not-checked-title" },
    h("h2", { id: "not-checked-title" }, `${text.notChecked} (${report.not_checked.length})`),
    h("p", { class: "quiet" }, text.notCheckedWhy),
    h(
      "ul",
      { class: "reasons" },
      ...[...reasons].map(([why, rules]) =>
        rules.length > FEW
          ? h("li", {}, h("details", {}, h("summary", {}, text.reasonOf(why, rules.length)), h("ul", { class: "quiet rules-named" }, ...rules.map(named))), why === first ? askRadius() : null)
          : h("li", {}, why, h("ul", { class: "quiet rules-named" }, ...rules.map(named)), why === first ? askRadius() : null),
      ),
    ),
  );
}
