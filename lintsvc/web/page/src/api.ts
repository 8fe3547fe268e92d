// Talking to the service: see /api/openapi.json.
import type { FlatGeometry } from "./view/flat_view";
import type { PlacedFinding } from "./view/placed";
import type { Report } from "./report";
import { text } from "./strings";

const ROOT = "/api/v1";

export interface CheckFile { name: string; sha256: string; bytes?: number }
export interface Check {
  id: string;
  state: "queued" | "running" | "done" | "failed" | "cancelled";
  step: string | null;
  percent: number;
  created?: string;
  files: CheckFile[];
  choices?: Record<string, string>;
  problem?: string | null;
  report?: Report | null;
  summary?: Record<string, number> | null;
}
export interface MaterialShown {
  id: string;
  name: string;
  family: string;
  processes: string[];
  good_for: string;
  stock_mm: number[];
  laser?: string;
}
export type Choices = Partial<Record<"process" | "material" | "thickness" | "units", string>>;

/** An answer that is not a success; the message is fit to be shown. */
export class ServiceError extends Error {
  constructor(readonly status: number, message: string) {
    super(message);
  }
}

async function problem(answer: Response): Promise<ServiceError> {
  let detail = answer.statusText;
  try {
    const body = (await answer.json()) as { detail?: string; title?: string };
    detail = body.detail || body.title || detail;
  } catch {
    // Not a problem document: the status says enough.
  }
  return asError(answer.status, detail);
}

function asError(status: number, detail: string): ServiceError {
  if (status === 404) return new ServiceError(status, text.errors.notFound);
  if (status === 413) return new ServiceError(status, detail || text.errors.tooBig);
  if (status === 429 || status === 503) return new ServiceError(status, detail || text.errors.busy);
  return new ServiceError(status, text.errors.refused(detail));
}

async function get<T>(path: string): Promise<T> {
  let answer: Response;
  try {
    answer = await fetch(ROOT + path, { headers: { Accept: "application/json" } });
  } catch {
    throw new ServiceError(0, text.errors.network);
  }
  if (!answer.ok) throw await problem(answer);
  return (await answer.json()) as T;
}

/** Send files; `progress` is told the share sent, 0 to 1. Resolves to the new check. */
export function send(files: File[], choices: Choices, progress: (share: number) => void): { done: Promise<Check>; stop: () => void } {
  const form = new FormData();
  for (const file of files) form.append("file", file, file.name);
  for (const [key, value] of Object.entries(choices)) if (value) form.append(key, value);
  // XMLHttpRequest, because fetch tells nothing of an upload's progress.
  const request = new XMLHttpRequest();
  const done = new Promise<Check>((resolve, reject) => {
    request.open("POST", `${ROOT}/checks`);
    request.responseType = "json";
    request.setRequestHeader("Accept", "application/json");
    request.upload.onprogress = (event) => { if (event.lengthComputable) progress(event.loaded / event.total); };
    request.onload = () => {
      const body = request.response as (Check & { detail?: string; title?: string }) | null;
      if (request.status >= 200 && request.status < 300 && body) resolve(body);
      else reject(asError(request.status, body?.detail ?? body?.title ?? request.statusText));
    };
    request.onerror = () => reject(new ServiceError(0, text.errors.network));
    request.onabort = () => reject(new ServiceError(-1, text.states.cancelled ?? ""));
  });
  request.send(form);
  return { done, stop: () => request.abort() };
}

/** Check the same files again with other choices, without sending them again. */
export async function again(check: Check, choices: Choices): Promise<Check> {
  const form = new FormData();
  for (const file of check.files) {
    form.append("file_sha256", file.sha256);
    form.append("file_name", file.name);
  }
  for (const [key, value] of Object.entries(choices)) if (value) form.append(key, value);
  const answer = await fetch(`${ROOT}/checks`, { method: "POST", body: form, headers: { Accept: "application/json" } });
  if (!answer.ok) throw await problem(answer);
  return (await answer.json()) as Check;
}

export const check = (id: string) => get<Check>(`/checks/${encodeURIComponent(id)}`);
export const recent = () => get<{ checks: Check[] }>("/checks?limit=12");
export const materials = () => get<{ materials: MaterialShown[] }>("/materials");
export const placed = (id: string, file: number) =>
  get<{ findings: PlacedFinding[] }>(`/checks/${encodeURIComponent(id)}/files/${file}/findings`);
export const flat = (id: string, file: number) => get<FlatGeometry>(`/checks/${encodeURIComponent(id)}/files/${file}/geometry`);
export const geometryUrl = (id: string, file: number) => `${ROOT}/checks/${encodeURIComponent(id)}/files/${file}/geometry`;
export const reportUrl = (id: string, kind: string) => `${ROOT}/checks/${encodeURIComponent(id)}/report.${kind}`;
export const highlightsUrl = (id: string, kind: string) => `${ROOT}/checks/${encodeURIComponent(id)}/highlights.${kind}`;

export async function remove(id: string): Promise<void> {
  const answer = await fetch(`${ROOT}/checks/${encodeURIComponent(id)}`, { method: "DELETE" });
  if (!answer.ok && answer.status !== 404) throw await problem(answer);
}

/** Follow a check's events until it ends; falls back to asking again when the stream breaks. */
export function follow(
  id: string,
  changed: (check: Check) => void,
  lost: () => void,
  failed: (error: Error) => void,
): () => void {
  let stopped = false;
  let timer = 0;
  const source = new EventSource(`${ROOT}/checks/${encodeURIComponent(id)}/events`);
  const look = async () => {
    if (stopped) return;
    try {
      const now = await check(id);
      changed(now);
      if (now.state === "done" || now.state === "failed" || now.state === "cancelled") stop();
    } catch (error) {
      if (stopped) return;
      if (error instanceof ServiceError && error.status === 0) lost();
      else {
        stop();
        failed(error instanceof Error ? error : new Error(String(error)));
      }
    }
  };
  const soon = () => {
    window.clearTimeout(timer);
    timer = window.setTimeout(() => void look(), 60);
  };
  for (const name of ["message", "state", "step", "progress", "finding", "done"]) source.addEventListener(name, soon);
  source.onerror = () => window.setTimeout(() => void look(), 1000);
  // A stream can stay silent behind a proxy; a slow look keeps the page true.
  const slow = window.setInterval(() => void look(), 2500);
  function stop(): void {
    stopped = true;
    source.close();
    window.clearInterval(slow);
    window.clearTimeout(timer);
  }
  void look();
  return stop;
}
