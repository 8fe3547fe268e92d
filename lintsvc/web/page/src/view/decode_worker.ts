// Off the page's own thread: fetches and unpacks a body, finds its edges, builds the search tree for picking; and
// later, when it is asked for, unpacks the widths of its walls and gaps.
import { BufferAttribute, BufferGeometry } from "three";
import { MeshBVH, type SerializedBVH } from "three-mesh-bvh";
import { type Coarse, coarsen } from "./coarse";
import { type BodyGeometry, decodeBody } from "./decode";
import { type WidthPieces, decodeWidths } from "./decode_widths";
import { findEdges } from "./edges";

export type ToWorker = ({ body: string } | { widths: string }) & { headers?: Record<string, string> };
export type FromWorker =
  | { body: BodyGeometry }
  | { edges: Float32Array<ArrayBuffer> }
  | { coarse: Coarse }
  | { tree: SerializedBVH }
  | { widths: WidthPieces }
  | { error: string; of: "body" | "widths" };

let body: BodyGeometry | null = null;
/** What says who asks. */
let headers: Record<string, string> = {};
const tell = (message: FromWorker, transfer: Transferable[] = []) => self.postMessage(message, { transfer });

/** Fetch what may still have to be made: until it is there, the answer is 202. */
async function bytes(url: string): Promise<ArrayBuffer> {
  let answer = await fetch(url, { headers });
  for (let i = 0; answer.status === 202 && i < 300; i++) {
    await new Promise((resolve) => setTimeout(resolve, 1000));
    answer = await fetch(url, { headers });
  }
  if (answer.status === 200) return await answer.arrayBuffer();
  const said = (await answer.json().catch(() => ({}))) as { detail?: string };
  throw new Error(said.detail ?? `the answer was ${answer.status}`);
}

async function loadBody(url: string): Promise<void> {
  body = decodeBody(await bytes(url));
  // A copy is given away, which costs the page's thread nothing.
  const given = { ...body, positions: body.positions.slice(), index: body.index.slice() };
  tell({ body: given }, [given.positions.buffer, given.index.buffer]);
  for (const coarse of coarsen(body)) tell({ coarse }, [coarse.index.buffer, coarse.faces.buffer]);
  const edges = findEdges(body.positions, body.index);
  tell({ edges }, [edges.buffer]);
  const geometry = new BufferGeometry();
  geometry.setAttribute("position", new BufferAttribute(body.positions, 3));
  geometry.setIndex(new BufferAttribute(body.index, 1));
  // `indirect` leaves the faces in their order: their numbers are the report's.
  const tree = MeshBVH.serialize(new MeshBVH(geometry, { indirect: true }), { cloneBuffers: false });
  // The page has the faces already; all else is given away, not copied.
  tell({ tree: { ...tree, index: null } }, [...tree.roots, tree.indirectBuffer?.buffer ?? []].flat());
}

async function loadWidths(url: string): Promise<void> {
  const data = await bytes(url);
  if (!body) throw new Error("there is no body yet");
  const widths = decodeWidths(data, body);
  tell({ widths }, [widths.corners.buffer, widths.wall.buffer, widths.gap.buffer, widths.first.buffer]);
}

self.onmessage = ({ data }: MessageEvent<ToWorker>) => {
  headers = data.headers ?? {};
  const of = "body" in data ? "body" : "widths";
  const done = "body" in data ? loadBody(data.body) : loadWidths(data.widths);
  done.catch((error: unknown) => tell({ error: error instanceof Error ? error.message : String(error), of }));
};
