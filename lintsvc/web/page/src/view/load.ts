// Fetches what a view needs and makes the view of the part's kind.
import * as api from "../api";
import { bearer } from "../token";
import { BodyView } from "./body_view";
import { WORTH_IT } from "./coarse";
import type { FromWorker, ToWorker } from "./decode_worker";
import type { WidthPieces } from "./decode_widths";
import type { PartView } from "./placed";
import { warmRenderer, warmWhole } from "./renderers";
import { SheetView } from "./sheet_view";

/** Set by the build: the address of the decoding worker. */
declare const DECODE_WORKER: string;

/** `closed`: the report found the body's surface closed, so that a cut through it has an inside. */
export async function loadView(
  id: string,
  file: number,
  kind: "body" | "sheet",
  closed: boolean,
  onPick: (index: number | null) => void,
): Promise<PartView> {
  const placed = api.placed(id, file);
  if (kind === "sheet") {
    forget();
    return new SheetView(await api.flat(id, file), (await placed).findings, async () => (await Promise.all([api.folded(id, file), warmRenderer()]))[0], onPick);
  }
  return await loadBody(id, file, closed, placed, onPick);
}

/** A worker that was set to its work, and what it has said so far. */
interface Loading { worker: Worker; said: FromWorker[]; hear: (message: FromWorker) => void }

const early = new Map<string, Loading>();

/** Begin to load a body while its check still runs, so that it is there when the check ends. */
export function prepare(id: string, file: number): void {
  const key = `${id}/${file}`;
  if (early.has(key)) return;
  forget();
  early.set(key, start(id, file));
  // Where there is nothing to draw with, the view says so when it is made.
  warmRenderer().catch(() => undefined);
}

/** Let go of what was loaded early for another check. */
function forget(): void {
  for (const { worker } of early.values()) worker.terminate();
  early.clear();
}

function start(id: string, file: number): Loading {
  const worker = new Worker(DECODE_WORKER, { type: "module" });
  const loading: Loading = { worker, said: [], hear: (message) => loading.said.push(message) };
  worker.onmessage = ({ data }: MessageEvent<FromWorker>) => loading.hear(data);
  worker.onerror = (event) => loading.hear({ error: event.message, of: "body" });
  worker.postMessage({ body: api.geometryUrl(id, file), headers: bearer() } satisfies ToWorker);
  return loading;
}

async function loadBody(
  id: string,
  file: number,
  closed: boolean,
  placed: ReturnType<typeof api.placed>,
  onPick: (index: number | null) => void,
): Promise<PartView> {
  const key = `${id}/${file}`;
  const loading = early.get(key) ?? start(id, file);
  early.delete(key);
  forget();
  const { worker } = loading;
  warmRenderer().catch(() => undefined);
  let gotWidths: { resolve: (x: WidthPieces) => void; reject: (x: Error) => void } | null = null;
  const sources = {
    widths: () => new Promise<WidthPieces>((resolve, reject) => {
      gotWidths = { resolve, reject };
      worker.postMessage({ widths: api.widthsUrl(id, file), headers: bearer() } satisfies ToWorker);
    }),
    lists: () => api.lists(id, file),
  };
  return await new Promise<PartView>((resolve, reject) => {
    let view: Promise<BodyView> | null = null;
    const fail = (error: Error) => {
      reject(error);
      worker.terminate();
    };
    loading.hear = (message) => {
      if ("error" in message) {
        if (message.of === "body") fail(new Error(message.error));
        else gotWidths?.reject(new Error(message.error));
      } else if ("body" in message) {
        view = Promise.all([placed, message.body.triangles < WORTH_IT ? warmRenderer() : warmWhole()]).then(async ([{ findings }]) => {
          const made = new BodyView(message.body, closed, findings, sources, onPick);
          made.onDispose = () => worker.terminate();
          await made.ready;
          return made;
        });
        view.then(resolve, fail);
      } else if ("coarse" in message) void view?.then((x) => x.addCoarse(message.coarse), () => undefined);
      else if ("edges" in message) void view?.then((x) => x.setEdges(message.edges), () => undefined);
      else if ("tree" in message) void view?.then((x) => x.setTree(message.tree), () => undefined);
      else gotWidths?.resolve(message.widths);
    };
    for (const message of loading.said.splice(0)) loading.hear(message);
  });
}
