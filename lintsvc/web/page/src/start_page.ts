// The start: a place to drop files, and the checks made before.
import * as api from "./api";
import { fill, h } from "./dom";
import { text } from "./strings";

/** Files of a drop, folders opened. */
async function dropped(transfer: DataTransfer): Promise<File[]> {
  const entries = [...transfer.items].map((x) => x.webkitGetAsEntry()).filter((x) => x !== null);
  if (!entries.length) return [...transfer.files];
  const found: File[] = [];
  const open = async (entry: FileSystemEntry): Promise<void> => {
    if (entry.isFile) {
      found.push(await new Promise<File>((resolve, reject) => (entry as FileSystemFileEntry).file(resolve, reject)));
      return;
    }
    const reader = (entry as FileSystemDirectoryEntry).createReader();
    // A reader gives a folder in portions, and an empty one at its end.
    for (;;) {
      const portion = await new Promise<FileSystemEntry[]>((resolve, reject) => reader.readEntries(resolve, reject));
      if (!portion.length) return;
      for (const inner of portion) await open(inner);
    }
  };
  for (const entry of entries) await open(entry);
  return found;
}

export function startPage(go: (path: string) => void): HTMLElement {
  document.body.classList.remove("dropping");
  const status = h("p", { class: "status", role: "status", "aria-live": "polite" });
  const progress = h("progress", { max: 1, value: 0, hidden: true, "aria-label": text.drop });
  const files = h("input", { type: "file", multiple: true, class: "sr", id: "files", onchange: () => void send([...(files.files ?? [])]) });
  const folder = h("input", { type: "file", multiple: true, webkitdirectory: true, class: "sr", id: "folder", onchange: () => void send([...(folder.files ?? [])]) });
  const stop = h("button", { type: "button", class: "plain", hidden: true }, text.cancel);
  const zone = h(
    "div",
    {
      class: "drop",
      ondragover: (event: DragEvent) => { event.preventDefault(); zone.classList.add("over"); },
      ondragleave: () => zone.classList.remove("over"),
      ondrop: (event: DragEvent) => {
        event.preventDefault();
        zone.classList.remove("over");
        if (event.dataTransfer) void dropped(event.dataTransfer).then(send);
      },
    },
    h("p", { class: "drop-words" }, text.drop),
    h("p", { class: "buttons" }, h("label", { class: "button", for: "files" }, text.chooseFiles), h("label", { class: "button second", for: "folder" }, text.chooseFolder)),
    files,
    folder,
    h("p", { class: "quiet" }, text.formats),
    progress,
    status,
    stop,
  );

  async function send(list: File[]): Promise<void> {
    if (!list.length) {
      status.textContent = text.errors.noFiles;
      return;
    }
    progress.hidden = stop.hidden = false;
    const sending = api.send(list, {}, (share) => {
      progress.value = share;
      status.textContent = text.uploading(Math.round(100 * share));
    });
    stop.onclick = () => sending.stop();
    try {
      const check = await sending.done;
      go(`/checks/${check.id}`);
    } catch (error) {
      status.textContent = error instanceof Error ? error.message : String(error);
      progress.hidden = stop.hidden = true;
    }
  }

  const before = h("section", { class: "before", "aria-labelledby": "before-title" });
  void api.recent().then(
    ({ checks }) => {
      fill(
        before,
        h("h2", { id: "before-title" }, text.recent),
        checks.length
          ? h("ul", {}, ...checks.map((check) => h("li", {}, h("a", {
              href: `/checks/${check.id}`,
              onclick: (event: MouseEvent) => { event.preventDefault(); go(`/checks/${check.id}`); },
            }, check.files.map((x) => x.name).join(", ")), h("span", { class: "quiet" }, ` ${text.states[check.state] ?? check.state}`))))
          : h("p", { class: "quiet" }, text.nothingRecent),
      );
    },
    () => fill(before),
  );
  return h("div", { class: "start" }, h("h1", {}, text.tagline), h("p", { class: "intro" }, text.intro), zone, before);
}
