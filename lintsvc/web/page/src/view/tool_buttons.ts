// Small parts that the views' buttons are made of.
import { h } from "../dom";
import type { Stage } from "./stage";

const hint = (words: string, key: string) => (key ? `${words} (${key})` : words);

/** Where Enter picks: the middle of the view, shown while the view has the focus of the keyboard. */
export const cross = () => h("div", { class: "view-cross", "aria-hidden": "true" });

export function toolButton(words: string, key: string, act: () => void): HTMLButtonElement {
  return h("button", { type: "button", class: "plain", title: hint(words, key), "aria-keyshortcuts": key || null, onclick: act }, words);
}

/** A button that stays pressed. */
export function switchButton(words: string, key: string, on: boolean, act: (on: boolean) => void): HTMLButtonElement {
  const button = toolButton(words, key, () => {
    const next = button.getAttribute("aria-pressed") !== "true";
    button.setAttribute("aria-pressed", String(next));
    act(next);
  });
  button.setAttribute("aria-pressed", String(on));
  return button;
}

/** Single keys act only while the focus is in one of these elements, and not in a field. */
export function keys(places: HTMLElement[], acts: Record<string, () => void>): void {
  const listen = (event: KeyboardEvent) => {
    const target = event.target as HTMLElement;
    if (event.ctrlKey || event.metaKey || event.altKey || /^(INPUT|SELECT|TEXTAREA)$/.test(target.tagName)) return;
    const act = acts[event.key];
    if (!act || (event.key === "Enter" && target.getAttribute("role") !== "img")) return;
    event.preventDefault();
    act();
  };
  for (const place of places) place.addEventListener("keydown", listen);
}

/** Keys that turn what a stage shows, bring it nearer, and pick what is in its middle. */
export function keysOfStage(stage: Stage, pick: () => void): void {
  keys([stage.pad], {
    ArrowLeft: () => stage.turn(-10, 0),
    ArrowRight: () => stage.turn(10, 0),
    ArrowUp: () => stage.turn(0, 10),
    ArrowDown: () => stage.turn(0, -10),
    "+": () => stage.zoomBy(1.25),
    "=": () => stage.zoomBy(1.25),
    "-": () => stage.zoomBy(0.8),
    Enter: pick,
  });
}
