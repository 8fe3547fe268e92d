// Talking to the service: see /api/openapi.json.
import type { FlatGeometry } from "./view/flat_shapes";
import type { FoldedGeometry } from "./view/fold_pose";
import type { BodyLists, PlacedFinding } from "./view/placed";
import type { Finding, Level, Quantity, Report, Source } from "./report";
import { text } from "./strings";
import { askForToken, bearer } from "./token";

const ROOT = "/api/v1";

export type State = "queued" | "running" | "done" | "failed" | "cancelled";
export interface CheckFile { name: string; sha256: string; bytes?: number }
export interface Summary { error: number; warning: number; note: number; unreadable: number; not_checked: number }
export interface Check {
  id: string;
  state: State;
  step: string | null;
  percent: number;
  created?: string;
  files: CheckFile[];
  choices?: Record<string, string>;
  problem?: string | null;
  report?: Report | null;
  summary?: Summary | null;
}
export interface MaterialShown {
  id: string;
  name: string;
  family: string;
  processes: string[];
  good_for: string;
  stock_mm: number[];
  stock_in: number[];
  laser?: string;
  laser_why?: string;
}
export interface RuleShown { id: string; title: string; why: string; measured: string; ignore_when: string }
export type Choices = Partial<Record<"process" | "material" | "thickness" | "units" | "finish" | "quantity" | "bends" | "threads" | "countersinks" | "bend_radius", string>>;

/** The part in one material and thickness (see lintsvc/reports/material_table.py). */
export interface MaterialRow {
  material: string;
  name: string;
  /** The material's place in the handbook. */
  place: number;
  thickness_mm: number | null;
  chosen: boolean;
  stocked: boolean | null;
  passes: boolean;
  counts: Record<Level, number>;
  worst: { rule: string; level: Level; message: string; measured: Quantity | null; limit: Quantity | null } | null;
  past: number | null;
  not_checked: number;
  mass_g: number | null;
  stiffness: number | null;
  youngs_modulus_gpa: { value: number; source: Source } | null;
}
/** A piece of it; `next` is where the next one starts, null after the last. */
export interface MaterialTable { process: string; rows: MaterialRow[]; stiffness_why: string; of: number; next: number | null }

/** One file against an earlier version of it (see lintsvc/reports/versions.py). */
export interface Versions {
  old: string;
  new: string;
  same_content: boolean;
  changes: { what: string; old: string; new: string }[];
  gone: Finding[];
  added: Finding[];
  kept: number[];
  shape: {
    faces: [number, number][];
    entities: number[];
    gone: [[number, number, number], [number, number, number]][];
    farthest_mm: number;
    tolerance_mm: number;
    moved_mm: number[] | null;
  } | null;
}
export interface Share { id: string; created: string; expires: string | null }

/** An answer that is not a success; the message is fit to be shown. */
export class ServiceError extends Error {
  constructor(
    /** HTTP status; 0 for no connection, -1 for stopped by the person. */
    readonly status: number,
    message: string,
    /** Kind of problem, as the service names it: too-large, quota … */
    readonly kind = "",
    /** Seconds after which another try makes sense; 0 where none does. */
    readonly retryAfter = 0,
  ) {
    super(message);
  }
}

/** The secret of a share link, while one is looked through. */
let shared = "";
export const isShared = () => shared !== "";
export function useShare(secret: string): void {
  shared = secret;
}
/** An address that the browser fetches by itself: it cannot be given a header. */
const open = (path: string) => ROOT + path + (shared ? `${path.includes("?") ? "&" : "?"}share=${encodeURIComponent(shared)}` : "");

export function asError(status: number, kind: string, detail: string, retryAfter = 0): ServiceError {
  const e = text.errors;
  if (status === 404) return new ServiceError(status, kind === "not-made" ? detail : e.notFound, kind);
  if (status === 413) return new ServiceError(status, e.tooBig(detail), kind);
  if (status === 401) return new ServiceError(status, e.token, kind);
  if (status === 429 || status === 503) return new ServiceError(status, e.busy(detail), kind, retryAfter || 5);
  if (status === 507) return new ServiceError(status, e.noRoom(detail), kind, 30);
  if (status >= 500) return new ServiceError(status, kind === "failed" ? e.notMade(detail) : e.failed(detail), kind, retryAfter || 5);
  return new ServiceError(status, e.refused(detail), kind);
}

async function problem(answer: Response): Promise<ServiceError> {
  let detail = answer.statusText;
  let kind = "";
  try {
    const body = (await answer.json()) as { detail?: string; title?: string; type?: string };
    detail = body.detail || body.title || detail;
    kind = body.type?.split(":").pop() ?? "";
  } catch {
    // Not a problem document: the status says enough.
  }
  return asError(answer.status, kind, detail, Number(answer.headers.get("Retry-After")) || 0);
}

/** One request. Throws ServiceError for whatever is no success. */
export async function ask(path: string, init: RequestInit = {}): Promise<Response> {
  const headers = new Headers(init.headers);
  headers.set("Accept", "application/json");
  if (shared) headers.set("Lintsvc-Share", shared);
  else for (const [name, value] of Object.entries(bearer())) headers.set(name, value);
  let answer: Response;
  try {
    answer = await fetch(ROOT + path, { ...init, headers });
  } catch {
    throw new ServiceError(0, text.errors.network);
  }
  // Whoever looks through a share link has no token, and is asked for none.
  if (answer.status === 401 && !shared && (await askForToken())) return await ask(path, init);
  if (!answer.ok) throw await problem(answer);
  return answer;
}

export const get = async <T>(path: string): Promise<T> => (await (await ask(path)).json()) as T;

/** Get what is made on demand: the service answers that it is under way until it is there. */
export async function made<T>(path: string): Promise<T> {
  for (let i = 0; ; i++) {
    const answer = await get<T & { state?: string }>(path);
    if (answer.state !== "being made" || i >= 300) return answer;
    await new Promise((resolve) => setTimeout(resolve, 1000));
  }
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
    for (const [name, value] of Object.entries(bearer())) request.setRequestHeader(name, value);
    request.upload.onprogress = (event) => { if (event.lengthComputable) progress(event.loaded / event.total); };
    request.onload = () => {
      const body = request.response as (Check & { detail?: string; title?: string; type?: string }) | null;
      if (request.status >= 200 && request.status < 300 && body) resolve(body);
      else {
        const kind = body?.type?.split(":").pop() ?? "";
        const after = Number(request.getResponseHeader("Retry-After")) || 0;
        reject(asError(request.status, kind, body?.detail ?? body?.title ?? request.statusText, after));
      }
    };
    request.onerror = () => reject(new ServiceError(0, text.errors.network));
    request.onabort = () => reject(new ServiceError(-1, text.states.cancelled ?? ""));
  });
  request.send(form);
  return { done, stop: () => request.abort() };
}

/** Check files again with other choices, without sending them again. */
export async function again(files: CheckFile[], choices: Choices): Promise<Check> {
  const form = new FormData();
  for (const file of files) {
    form.append("file_sha256", file.sha256);
    form.append("file_name", file.name);
  }
  for (const [key, value] of Object.entries(choices)) if (value) form.append(key, value);
  // Most are done in a moment, from what was measured before: then the answer is the report itself.
  return (await (await ask("/checks", { method: "POST", body: form, headers: { Prefer: "wait=2" } })).json()) as Check;
}

const of = (id: string) => `/checks/${encodeURIComponent(id)}`;
const ofFile = (id: string, file: number) => `${of(id)}/files/${file}`;

export const check = (id: string) => get<Check>(of(id));
export const recent = (limit = 12) => get<{ checks: Check[] }>(`/checks?limit=${limit}`);
export const materials = () => get<{ materials: MaterialShown[] }>("/materials");
export const rules = () => get<{ rules: RuleShown[] }>("/rules");
export const placed = (id: string, file: number) => get<{ findings: PlacedFinding[] }>(`${ofFile(id, file)}/findings`);
export const flat = (id: string, file: number) => made<FlatGeometry>(`${ofFile(id, file)}/geometry`);
export const lists = (id: string, file: number) => made<BodyLists>(`${ofFile(id, file)}/lists`);
export const folded = (id: string, file: number) => made<FoldedGeometry>(`${ofFile(id, file)}/folded`);
export const materialTable = (id: string, file: number, from: number) => made<MaterialTable>(`${ofFile(id, file)}/materials.json${from ? `?from=${from}` : ""}`);
export const versions = (id: string, file: number, old: string) =>
  made<Versions>(`${ofFile(id, file)}/versions?old=${encodeURIComponent(old)}`);
export const widthsUrl = (id: string, file: number) => open(`${ofFile(id, file)}/widths`);
export const geometryUrl = (id: string, file: number) => open(`${ofFile(id, file)}/geometry`);
export const eventsUrl = (id: string) => open(`${of(id)}/events`);
export const reportUrl = (id: string, kind: string) => open(`${of(id)}/report.${kind}${kind === "json" ? "?download" : ""}`);
export const highlightsUrl = (id: string, kind: string, file: number) => open(`${of(id)}/highlights.${kind}?file=${file}`);

/** Stop a check that waits or runs. One that has ended meanwhile stays as it is. */
export async function cancel(id: string): Promise<void> {
  await ask(`${of(id)}/cancel`, { method: "POST" }).catch((error: unknown) => {
    if (!(error instanceof ServiceError && (error.status === 409 || error.status === 404))) throw error;
  });
}

export async function remove(id: string): Promise<void> {
  await ask(of(id), { method: "DELETE" }).catch((error: unknown) => {
    if (!(error instanceof ServiceError && error.status === 404)) throw error;
  });
}

const asidePath = (id: string, file: number, fingerprint: string) => `${ofFile(id, file)}/set-aside/${encodeURIComponent(fingerprint)}`;

/** Set a finding aside; resolves to the words that reports show. */
export async function setAside(id: string, file: number, fingerprint: string, reason: string): Promise<string> {
  const answer = await ask(asidePath(id, file, fingerprint), { method: "PUT", body: new URLSearchParams({ reason }) });
  return ((await answer.json()) as { set_aside: string }).set_aside;
}
export const takeBack = async (id: string, file: number, fingerprint: string): Promise<void> => {
  await ask(asidePath(id, file, fingerprint), { method: "DELETE" });
};

export const shares = (id: string) => get<{ shares: Share[] }>(`${of(id)}/shares`);
/** Make a link; `days` empty for one that holds until it is revoked. Resolves to its whole address. */
export async function share(id: string, days: string): Promise<string> {
  const answer = await ask(`${of(id)}/shares`, { method: "POST", body: new URLSearchParams(days ? { days } : {}) });
  return new URL(((await answer.json()) as { link: string }).link, location.href).href;
}
export const revoke = async (id: string, share: string): Promise<void> => {
  await ask(`${of(id)}/shares/${encodeURIComponent(share)}`, { method: "DELETE" });
};

/** Largest file that is taken, in bytes; Infinity where the service does not say. */
export async function largestFile(): Promise<number> {
  try {
    return Number((await ask("/uploads", { method: "OPTIONS" })).headers.get("Tus-Max-Size")) || Infinity;
  } catch {
    return Infinity;
  }
}
