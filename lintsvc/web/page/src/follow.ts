// Following what is under way: one check by its events, many by asking for all of them now and then.
import * as api from "./api";
import { ServiceError } from "./api";
import { listen } from "./token";

export const ended = (state: api.State) => state === "done" || state === "failed" || state === "cancelled";

export interface Watcher {
  changed(check: api.Check): void;
  /** The connection is gone; it is tried again by itself. */
  lost(): void;
  /** The connection is back. */
  found(): void;
  /** It is no use to go on. */
  failed(error: Error): void;
}

/** Events come at once; a slow look keeps the page true when a stream stays silent, and finds a lost connection again. */
export function follow(id: string, watcher: Watcher): () => void {
  let stopped = false;
  let timer = 0;
  let away = false;
  let looking = false;
  const look = async () => {
    if (stopped || looking) return;
    looking = true;
    try {
      const now = await api.check(id);
      if (stopped) return;
      if (away) watcher.found();
      away = false;
      watcher.changed(now);
      if (ended(now.state)) stop();
    } catch (error) {
      if (stopped) return;
      if (error instanceof ServiceError && (error.status === 0 || error.retryAfter)) {
        if (!away) watcher.lost();
        away = true;
      } else {
        stop();
        watcher.failed(error instanceof Error ? error : new Error(String(error)));
      }
    } finally {
      looking = false;
    }
  };
  const soon = (after = 60) => {
    window.clearTimeout(timer);
    timer = window.setTimeout(() => void look(), after);
  };
  const close = listen(api.eventsUrl(id), () => soon(), () => soon(1000));
  const back = () => soon(0);
  window.addEventListener("online", back);
  const slow = window.setInterval(() => void look(), 2500);
  function stop(): void {
    stopped = true;
    close();
    window.removeEventListener("online", back);
    window.clearInterval(slow);
    window.clearTimeout(timer);
  }
  void look();
  return stop;
}

/** Follow many checks with one request a turn: browsers open only few streams to one service. */
export function followMany(ids: () => string[], watcher: { changed(check: api.Check): void; lost(): void; found(): void; gone(id: string): void }): () => void {
  let stopped = false;
  let away = false;
  const turn = async () => {
    const wanted = new Set(ids());
    if (!wanted.size) return;
    try {
      const { checks } = await api.recent(100);
      if (stopped) return;
      if (away) watcher.found();
      away = false;
      for (const check of checks) if (wanted.delete(check.id)) watcher.changed(check);
      // Older ones than the list holds are asked for one by one.
      for (const id of wanted) {
        try {
          watcher.changed(await api.check(id));
        } catch (error) {
          if (error instanceof ServiceError && error.status === 404) watcher.gone(id);
          else throw error;
        }
      }
    } catch {
      if (!away && !stopped) watcher.lost();
      away = true;
    }
  };
  const go = async () => {
    while (!stopped) {
      await turn();
      await new Promise((resolve) => setTimeout(resolve, away ? 2000 : 700));
    }
  };
  void go();
  return () => { stopped = true; };
}
