// The head of a check: what it is, what came of it, how far it is. Its rows keep their places whatever they say.
import type { Check } from "./api";
import { type Child, fill, h } from "./dom";
import { levelMark, passMark } from "./panel/marks";
import { type PartReport, counts } from "./report";
import { text } from "./strings";
import { quantity } from "./units";

export class Verdict {
  private readonly name = h("p", { class: "file-name" });
  private readonly words = h("h1", {});
  private readonly line = h("p", { class: "quiet verdict-line" });
  private readonly bar = h("progress", { max: 100, class: "unseen" });
  private readonly buttons = h("p", { class: "buttons-left verdict-buttons" });
  readonly element = h("div", { class: "verdict" }, this.name, h("div", { role: "status", "aria-live": "polite" }, this.words), this.line, this.bar, this.buttons);

  /** A check under way. `again`: the last verdict stays until the next one is there. */
  running(check: Check, again: boolean, cancel: () => void): void {
    const step = check.state === "queued" ? text.waiting : text.step(check.step);
    if (!again) {
      this.head(check.files.map((x) => x.name).join(", "), text.verdict.running, null, "running");
      if (!this.buttons.firstChild) this.buttons.append(h("button", { type: "button", class: "plain", onclick: cancel }, text.cancel));
    }
    this.line.textContent = step;
    this.bar.classList.remove("unseen");
    this.bar.setAttribute("aria-label", step);
    if (check.state === "queued") this.bar.removeAttribute("value");
    else this.bar.value = check.percent;
  }

  /** It came to an end without a report. */
  ended(check: Check, buttons: Child[]): void {
    this.head(check.files.map((x) => x.name).join(", "), check.problem ?? text.states[check.state] ?? check.state, levelMark("warning"), "warning");
    this.line.textContent = check.state === "cancelled" ? text.cancelledMeans : "";
    this.end(buttons);
  }

  /** It cannot be shown at all. */
  failed(error: Error, buttons: Child[]): void {
    this.head("", error.message, levelMark("error"), "error");
    this.line.textContent = "";
    this.end(buttons);
  }

  done(part: PartReport): void {
    const n = counts(part);
    const v = text.verdict;
    const [words, mark, kind]: [string, Child, string] = part.unreadable
      ? [v.unreadable, levelMark("error"), "error"]
      : n.error
        ? [v.errors(n.error), levelMark("error"), "error"]
        : n.warning
          ? [v.warnings(n.warning), levelMark("warning"), "warning"]
          : n.note
            ? [v.notes(n.note), levelMark("note"), "note"]
            : part.not_checked.length
              // Not green: what did not run has not passed.
              ? [v.unsure(part.not_checked.length), levelMark("note"), "note"]
              : [v.clean, passMark(), "clean"];
    this.head(part.file, words, mark, kind);
    if (part.unreadable) {
      const why = part.unreadable;
      fill(this.line, h("span", { class: "why" }, [why.why, why.where && `(${why.where})`, why.remedy].filter(Boolean).join(" ")));
    } else {
      const aside = part.findings.filter((x) => x.set_aside).length;
      this.line.textContent = [
        text.checkedAs(part.process, part.material, part.thickness && quantity(part.thickness.value, part.thickness.unit)),
        part.checked ? text.checkedCount(part.checked.length) : null,
        part.not_checked.length && (n.error || n.warning || n.note) ? text.notCheckedCount(part.not_checked.length) : null,
        aside ? text.asideCount(aside) : null,
      ].filter(Boolean).join(" · ");
    }
    this.end([]);
  }

  /** Something that went wrong beside the check itself: the verdict stays. */
  trouble(error: unknown): void {
    this.bar.classList.add("unseen");
    fill(this.line, h("span", { class: "problem" }, error instanceof Error ? error.message : String(error)));
  }

  private head(name: string, words: string, mark: Child, kind: string): void {
    this.name.textContent = name;
    this.words.className = `verdict-${kind}`;
    fill(this.words, mark, h("span", {}, words));
  }

  private end(buttons: Child[]): void {
    this.bar.classList.add("unseen");
    fill(this.buttons, ...buttons);
  }
}

/** A line at the foot of the window that says something of the connection, and goes again. */
export class Toast {
  readonly element = h("p", { class: "toast", role: "status", "aria-live": "polite", hidden: true });
  private timer = 0;

  say(words: string, seconds = 0): void {
    window.clearTimeout(this.timer);
    this.element.textContent = words;
    this.element.hidden = false;
    if (seconds) this.timer = window.setTimeout(() => { this.element.hidden = true; }, seconds * 1000);
  }
}
