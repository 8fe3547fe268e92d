// Several files at once: each is a check of its own, sent a few at a time, watched together.
import * as api from "./api";
import { ServiceError } from "./api";
import { ended, followMany } from "./follow";
import { text } from "./strings";

/** So many are sent at once: enough to fill the line, few enough that each moves. */
const AT_ONCE = 3;
const UNSENT = "lintsvc.unsent";
/** Folders of what was sent, by check: the service is told names only. */
const FOLDERS = "lintsvc.folders";

export interface Item {
  name: string;
  /** Where it lay in what was dropped or chosen; "" where that is not known. */
  folder: string;
  bytes: number | null;
  file: File | null;
  /** Share of the upload, 0 to 1. */
  sent: number;
  state: "waiting" | "sending" | "sent" | "stopped" | "failed";
  check: api.Check | null;
  id: string | null;
  error: string | null;
  /** It is larger than the service takes: another try is no use. */
  tooBig: boolean;
  stop: (() => void) | null;
}

/** File names that can be parts; a folder holds other things too. */
export const PART = /\.(stl|3mf|step|stp|obj|ply|glb|gltf|dxf|svg)$/i;

/** Files of a drop that the browser may not read: they stand in the list, and say so. */
export const unread = new WeakSet<File>();

/** Paths of dropped files; those of a chosen folder carry their own. */
export const paths = new WeakMap<File, string>();

const folderOf = (file: File) => (paths.get(file) ?? file.webkitRelativePath).replace(/^\//, "").replace(/\/?[^/]*$/, "");
const folders = () => JSON.parse(sessionStorage.getItem(FOLDERS) ?? "{}") as Record<string, string>;

function remember(id: string, folder: string): void {
  if (folder) sessionStorage.setItem(FOLDERS, JSON.stringify({ ...folders(), [id]: folder }));
}

export class Batch {
  readonly items: Item[] = [];
  readonly leftOut: string[] = [];
  connected = true;
  /** Seconds until waiting ones are tried again, where the service asked for that; 0 otherwise. */
  waitSeconds = 0;
  /** Names that were not sent when the page was left. */
  unsent: string[] = [];
  private listeners = new Set<() => void>();
  private unfollow: (() => void) | null = null;
  private timer = 0;
  private largest = Infinity;

  /** From files that were dropped. */
  static of(files: File[]): Batch {
    const batch = new Batch();
    for (const file of files) {
      // A single file is sent whatever it is called: it is told by its content.
      if (files.length > 1 && !PART.test(file.name)) batch.leftOut.push(file.name);
      else if (unread.has(file)) batch.items.push({ ...blank(file.name, folderOf(file)), state: "failed", error: text.errors.unread });
      else batch.items.push({ ...blank(file.name, folderOf(file)), bytes: file.size, file });
    }
    void api.largestFile().then((largest) => {
      batch.largest = largest;
      batch.send();
    });
    return batch;
  }

  /** From an address: the checks that were made before. */
  static from(ids: string[]): Batch {
    const batch = new Batch();
    const known = folders();
    for (const id of ids) batch.items.push({ ...blank("…", known[id]), id, state: "sent", sent: 1 });
    batch.unsent = JSON.parse(sessionStorage.getItem(UNSENT) ?? "[]") as string[];
    sessionStorage.removeItem(UNSENT);
    batch.follow();
    return batch;
  }

  /** The checks that there are so far, for the address. */
  ids(): string[] {
    return this.items.flatMap((x) => (x.id ? [x.id] : []));
  }

  /** The folder of a file whose name another one has too; "" for others. */
  apart(item: Item): string {
    return this.items.some((x) => x !== item && x.name === item.name) ? item.folder : "";
  }

  get done(): number {
    return this.items.filter(isDone).length;
  }

  onChange(listener: () => void): () => void {
    this.listeners.add(listener);
    return () => this.listeners.delete(listener);
  }

  cancel(item: Item): void {
    if (item.state === "sending") item.stop?.();
    else if (item.state === "waiting") item.state = "stopped";
    else if (item.id && !isDone(item)) void api.cancel(item.id).catch(() => undefined);
    this.tell();
    this.send();
  }

  retry(item: Item): void {
    if (!item.file) return;
    Object.assign(item, { state: "waiting", sent: 0, error: null });
    this.tell();
    this.send();
  }

  /** Take another check in the place of one: it was checked again with other choices. */
  replace(old: string, next: api.Check): void {
    for (const item of this.items) {
      if (item.id !== old) continue;
      Object.assign(item, { id: next.id, check: next });
      remember(next.id, item.folder);
    }
    this.follow();
    this.tell();
  }

  private send(): void {
    const sending = this.items.filter((x) => x.state === "sending").length;
    for (const item of this.items.filter((x) => x.state === "waiting").slice(0, AT_ONCE - sending)) {
      if (this.waitSeconds || !item.file) break;
      if (item.file.size > this.largest) Object.assign(item, { state: "failed", tooBig: true, error: text.errors.tooBigBy(item.file.size, this.largest) });
      else void this.sendOne(item, item.file);
    }
    this.tell();
  }

  private async sendOne(item: Item, file: File): Promise<void> {
    item.state = "sending";
    const sending = api.send([file], {}, (share) => {
      item.sent = share;
      this.tell();
    });
    item.stop = sending.stop;
    try {
      const check = await sending.done;
      Object.assign(item, { state: "sent", sent: 1, check, id: check.id, stop: null });
      remember(check.id, item.folder);
      this.follow();
    } catch (error) {
      this.fail(item, error);
    }
    this.tell();
    this.send();
  }

  private fail(item: Item, error: unknown): void {
    item.stop = null;
    item.sent = 0;
    if (error instanceof ServiceError && error.status === -1) item.state = "stopped";
    else if (error instanceof ServiceError && (error.retryAfter || error.status === 0)) {
      // The queue is full, or the connection is gone: nothing is wrong with the file, so it goes back to its place.
      item.state = "waiting";
      item.error = error.message;
      this.pause(error.retryAfter || 5);
    } else {
      item.state = "failed";
      item.error = error instanceof Error ? error.message : String(error);
    }
  }

  private pause(seconds: number): void {
    if (this.waitSeconds) return;
    this.waitSeconds = seconds;
    this.timer = window.setInterval(() => {
      this.waitSeconds -= 1;
      if (this.waitSeconds <= 0) {
        this.waitSeconds = 0;
        window.clearInterval(this.timer);
        for (const item of this.items) if (item.state === "waiting") item.error = null;
        this.send();
      }
      this.tell();
    }, 1000);
  }

  private follow(): void {
    const open = () => this.items.filter((x) => x.id && !isDone(x)).map((x) => x.id as string);
    this.unfollow ??= followMany(open, {
      changed: (check) => {
        const item = this.items.find((x) => x.id === check.id);
        if (item) Object.assign(item, { check, name: check.files[0]?.name ?? item.name, bytes: check.files[0]?.bytes ?? item.bytes });
        // One less waits there: no need to sit out the time that the service named.
        if (item && isDone(item) && this.waitSeconds > 1) this.waitSeconds = 1;
        this.tell();
      },
      gone: (id) => {
        const item = this.items.find((x) => x.id === id);
        if (item) Object.assign(item, { state: "failed", error: text.errors.notFound, id: null });
        this.tell();
      },
      lost: () => { this.connected = false; this.tell(); },
      found: () => { this.connected = true; this.tell(); },
    });
  }

  private tell(): void {
    if (this.waitSeconds && !this.items.some((x) => x.state === "waiting")) {
      this.waitSeconds = 0;
      window.clearInterval(this.timer);
    }
    const unsent = this.items.filter((x) => x.state === "waiting" || x.state === "sending").map((x) => x.name);
    if (unsent.length) sessionStorage.setItem(UNSENT, JSON.stringify(unsent));
    else sessionStorage.removeItem(UNSENT);
    for (const listener of this.listeners) listener();
  }

  dispose(): void {
    this.unfollow?.();
    window.clearInterval(this.timer);
    for (const item of this.items) item.stop?.();
    this.listeners.clear();
  }
}

function blank(name: string, folder = ""): Item {
  return { name, folder, bytes: null, file: null, sent: 0, state: "waiting", check: null, id: null, error: null, tooBig: false, stop: null };
}

/** Nothing more will happen to it by itself. */
export function isDone(item: Item): boolean {
  return item.state === "failed" || item.state === "stopped" || (item.check !== null && ended(item.check.state));
}
