// Orders of the service: see /api/openapi.json.
import { ask, get, made } from "../api";
import type { PartReport, Report } from "../report";

export type Block =
  | { kind: "head"; text: string; level: number }
  | { kind: "line"; text: string; quiet: boolean; level: "error" | "warning" | "note" | null }
  | { kind: "rows"; head: string[]; rows: string[][] }
  | { kind: "picture"; svg: string; caption: string };
export interface BlockPage { title: string; blocks: Block[] }
export interface SizeShown { id: string; what: string; meant: string; limits: string; with: string; yes_no: boolean }
export interface OrderPart { id: string; file: string; page: BlockPage; pieces: number; printable: boolean; sizes: SizeShown[] }
export interface OrderData { name: string; report: Report; page: BlockPage; parts: OrderPart[] }
export interface OrderShown { id: string; created: string; files: { name: string; sha256: string }[] }
export interface Judged { size: string; what: string; verdict: string; measured: number; least: number; most: number; unit: string; way: string }
export interface Arrival {
  pieces: { part: string; piece: string; verdict: string; sizes: Judged[]; missing: string[] }[];
  left_out: string[];
  shop: string;
  said: string;
  shop_says: string[];
}

/** How far an order is that is being checked. */
export interface Making { state: string; step?: string; percent?: number }

const at = (id: string) => `/orders/${encodeURIComponent(id)}`;

/** Send an order file with its parts. Resolves to the new order; throws ServiceError. */
export async function sendOrder(text: string, files: File[]): Promise<OrderShown> {
  const form = new FormData();
  form.append("file", new File([text], "order.toml", { type: "application/toml" }), "order.toml");
  for (const file of files) form.append("file", file, file.name);
  return (await (await ask("/orders", { method: "POST", body: form })).json()) as OrderShown;
}

export const orders = () => get<{ orders: OrderShown[] }>("/orders");
/** What came of an order, or within a second how far it is. */
export const orderNow = async (id: string): Promise<OrderData | Making> =>
  (await (await ask(`${at(id)}/order.json`, { headers: { Prefer: "wait=1" } })).json()) as OrderData | Making;
export const fileUrl = (id: string, name: string) => `/api/v1${at(id)}/${name}`;
export const printUrl = (id: string, part: string, paper: string, offset: string, template: boolean) =>
  `/api/v1${at(id)}/prints/${encodeURIComponent(part)}?paper=${paper}&offset=${encodeURIComponent(offset)}${template ? "&template=1" : ""}`;

/** Send a filled-in table of results; resolves to what became of the pieces. */
export async function judge(id: string, table: string): Promise<Arrival> {
  const answer = await ask(`${at(id)}/arrivals`, { method: "POST", body: table, headers: { "Content-Type": "text/csv" } });
  const { id: arrival } = (await answer.json()) as { id: string };
  return await made<Arrival>(`${at(id)}/arrivals/${arrival}`);
}

export async function removeOrder(id: string): Promise<void> {
  await ask(at(id), { method: "DELETE" });
}

/** The order's own entry, which the report has beside its parts. */
export const orderEntry = (data: OrderData) => (data.report as unknown as { order?: Pick<PartReport, "findings" | "not_checked"> | null }).order ?? null;
