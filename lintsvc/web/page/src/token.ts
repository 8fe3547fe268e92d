// A token, where the service needs one: asked for once, kept for this tab only, and sent with every request.
import { h } from "./dom";
import { text } from "./strings";

const KEY = "lintsvc.token";
let asking: Promise<boolean> | null = null;

const kept = () => sessionStorage.getItem(KEY) ?? "";

/** Headers that say who asks; none without a token. */
export const bearer = (): Record<string, string> => (kept() ? { Authorization: `Bearer ${kept()}` } : {});

/** Ask the person for a token. Resolves to whether they gave one; whoever asks meanwhile waits for the same answer. */
export function askForToken(): Promise<boolean> {
  asking ??= dialog().finally(() => { asking = null; });
  return asking;
}

function dialog(): Promise<boolean> {
  const words = text.token;
  const field = h("input", { id: "token", name: "token", type: "password", autocomplete: "off", spellcheck: "false", required: true });
  const box = h(
    "dialog",
    { class: "token", "aria-labelledby": "token-title" },
    h(
      "form",
      { method: "dialog" },
      h("h2", { id: "token-title" }, words.title),
      h("p", {}, kept() ? words.refused : words.why),
      h("label", { for: "token" }, words.label),
      field,
      h("p", { class: "quiet" }, words.where),
      h(
        "div",
        { class: "buttons" },
        h("button", { type: "submit", value: "use", class: "primary" }, words.use),
        h("button", { type: "submit", value: "leave", formnovalidate: true }, words.leave),
      ),
    ),
  );
  document.body.append(box);
  box.showModal();
  return new Promise((resolve) => {
    box.addEventListener("close", () => {
      const given = box.returnValue === "use" ? field.value.trim() : "";
      box.remove();
      if (given) sessionStorage.setItem(KEY, given);
      else sessionStorage.removeItem(KEY);
      resolve(given !== "");
    });
  });
}

/** Tell of each event of a stream; what it says is not told. Returns how to stop. */
export function listen(url: string, happened: () => void, broken: () => void): () => void {
  const stop = new AbortController();
  const once = async () => {
    const answer = await fetch(url, { headers: { ...bearer(), Accept: "text/event-stream" }, signal: stop.signal });
    const reader = answer.ok ? answer.body?.getReader() : undefined;
    // The browser's own event source cannot be given a header; a chunk is at least one event, or a sign of life.
    while (reader && !(await reader.read()).done) happened();
  };
  const again = async () => {
    while (!stop.signal.aborted) {
      await once().catch(() => undefined);
      if (!stop.signal.aborted) broken();
      await new Promise((resolve) => setTimeout(resolve, 2000));
    }
  };
  void again();
  return () => stop.abort();
}

/** Save what a link points at: a link cannot be given a header either. */
async function save(link: HTMLAnchorElement): Promise<void> {
  const get = () => fetch(link.href, { headers: bearer() });
  let answer = await get();
  for (let i = 0; answer.status === 202 && i < 60; i++) answer = await get();
  if (!answer.ok || answer.status === 202) {
    link.after(h("span", { role: "alert" }, ` ${text.token.notSaved}`));
    return;
  }
  const name = /filename="([^"]+)"/.exec(answer.headers.get("Content-Disposition") ?? "")?.[1] ?? "report";
  const address = URL.createObjectURL(await answer.blob());
  h("a", { href: address, download: name }).click();
  setTimeout(() => URL.revokeObjectURL(address), 60_000);
}

document.addEventListener("click", (event) => {
  const link = event.target instanceof Element ? event.target.closest<HTMLAnchorElement>("a[download]") : null;
  if (!link || !kept() || !link.href.startsWith(`${location.origin}/api/`)) return;
  event.preventDefault();
  void save(link);
});
