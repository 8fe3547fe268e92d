// The start: a place to drop files, and the checks made before.
import * as api from "./api";
import { Batch, isDone, paths, unread } from "./batch";
import { type Child, fill, h } from "./dom";
import { ordersIn } from "./order/toml";
import { text } from "./strings";

/** Files of a drop, folders opened. What cannot be read stands for itself in `unread`: one such file stops no other. */
export async function dropped(transfer: DataTransfer): Promise<File[]> {
  const entries = [...transfer.items].map((x) => x.webkitGetAsEntry()).filter((x) => x !== null);
  if (!entries.length) return [...transfer.files];
  const found: File[] = [];
  const open = async (entry: FileSystemEntry): Promise<void> => {
    if (entry.isFile) {
      const file = await new Promise<File>((resolve) => (entry as FileSystemFileEntry).file(resolve, () => resolve(lost(entry))));
      paths.set(file, entry.fullPath);
      found.push(file);
      return;
    }
    const reader = (entry as FileSystemDirectoryEntry).createReader();
    // A reader gives a folder in portions, and an empty one at its end.
    for (;;) {
      const portion = await new Promise<FileSystemEntry[]>((resolve) => reader.readEntries(resolve, () => { found.push(lost(entry)); resolve([]); }));
      if (!portion.length) return;
      for (const inner of portion) await open(inner);
    }
  };
  for (const entry of entries) await open(entry);
  return found;
}

function lost(entry: FileSystemEntry): File {
  const file = new File([], entry.name);
  unread.add(file);
  return file;
}

/** `several` is given the files when they are more than one part: a list, or an order with its parts. */
export function startPage(go: (path: string) => void, several: { list(batch: Batch): void; order(files: File[]): void }): HTMLElement {
  const status = h("p", { class: "status", role: "status", "aria-live": "polite" });
  const progress = h("progress", { max: 1, value: 0, "aria-label": text.drop, class: "unseen" });
  const files = h("input", { type: "file", multiple: true, class: "sr", id: "files", onchange: () => void take([...(files.files ?? [])]) });
  const folder = h("input", { type: "file", multiple: true, webkitdirectory: true, class: "sr", id: "folder", onchange: () => void take([...(folder.files ?? [])]) });
  const stop = h("button", { type: "button", class: "plain unseen" }, text.cancel);
  const retry = h("button", { type: "button", class: "plain", hidden: true }, text.list.again);
  const formats = h("p", { class: "quiet" }, text.formats);
  const zone = h(
    "div",
    {
      class: "drop",
      ondragover: (event: DragEvent) => { event.preventDefault(); zone.classList.add("over"); },
      ondragleave: () => zone.classList.remove("over"),
      ondrop: (event: DragEvent) => {
        event.preventDefault();
        zone.classList.remove("over");
        if (event.dataTransfer) void dropped(event.dataTransfer).then(take);
      },
    },
    h("p", { class: "drop-words" }, text.drop),
    h("p", { class: "buttons" }, h("label", { class: "button", for: "files" }, text.chooseFiles), h("label", { class: "button second", for: "folder" }, text.chooseFolder)),
    files,
    folder,
    h("div", { class: "drop-now" }, formats, h("div", { class: "drop-doing" }, progress, status, h("p", { class: "buttons" }, stop, retry))),
  );

  /** Show how one file is doing, in the place where it was dropped. */
  function watch(batch: Batch): void {
    const item = batch.items[0]!;
    formats.classList.add("unseen");
    const forget = batch.onChange(() => {
      if (item.id) {
        forget();
        batch.dispose();
        go(`/checks/${item.id}`);
        return;
      }
      const over = isDone(item);
      progress.classList.toggle("unseen", over);
      stop.hidden = over;
      stop.classList.remove("unseen");
      // A file that is too big stays so.
      retry.hidden = !over || item.tooBig || !item.file;
      progress.value = item.sent;
      const words = item.error ?? (over ? text.list.notSent : text.uploading(Math.round(100 * item.sent)));
      status.textContent = batch.waitSeconds ? text.list.wait(batch.waitSeconds, words) : words;
      status.classList.toggle("problem", item.error !== null);
    });
    stop.onclick = () => batch.cancel(item);
    retry.onclick = () => batch.retry(item);
  }

  async function take(list: File[]): Promise<void> {
    if ((await ordersIn(list)).length) {
      several.order(list);
      return;
    }
    const batch = Batch.of(list);
    if (!batch.items.length) {
      formats.classList.add("unseen");
      status.textContent = list.length ? text.errors.noParts(list.length) : text.errors.noFiles;
      status.classList.add("problem");
      batch.dispose();
    } else if (batch.items.length === 1 && !batch.leftOut.length) watch(batch);
    else several.list(batch);
  }

  const before = h("section", { class: "before", "aria-labelledby": "before-title" });
  const line = (check: api.Check): Child => h("li", {}, h("a", {
    href: `/checks/${check.id}`,
    onclick: (event: MouseEvent) => { event.preventDefault(); go(`/checks/${check.id}`); },
  }, check.files.map((x) => x.name).join(", ")), h("span", { class: "quiet" }, ` ${check.state === "done" && check.summary ? text.summary(check.summary) : (text.states[check.state] ?? check.state)}`));
  void api.recent().then(
    ({ checks }) => fill(before, h("h2", { id: "before-title" }, text.recent), checks.length ? h("ul", {}, ...checks.map(line)) : h("p", { class: "quiet" }, text.nothingRecent)),
    (error: unknown) => fill(before, h("h2", { id: "before-title" }, text.recent), h("p", { class: "problem" }, error instanceof Error ? error.message : String(error))),
  );
  return h("div", { class: "start" }, h("h1", {}, text.tagline), h("p", { class: "intro" }, text.intro), zone, before);
}
