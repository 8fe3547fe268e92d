// Fetches what a view needs and makes the view of the part's kind.
import * as api from "../api";
import { BodyView } from "./body_view";
import type { BodyGeometry } from "./decode";
import { FlatView } from "./flat_view";
import type { PartView } from "./placed";
import type { SerializedBVH } from "three-mesh-bvh";

/** Set by the build: the address of the decoding worker. */
declare const DECODE_WORKER: string;

type FromWorker = { body?: BodyGeometry; tree?: SerializedBVH; error?: string };

export async function loadView(
  id: string,
  file: number,
  kind: "body" | "sheet",
  onPick: (index: number | null) => void,
): Promise<PartView> {
  const placed = api.placed(id, file);
  if (kind === "sheet") return new FlatView(await api.flat(id, file), (await placed).findings, onPick);
  const worker = new Worker(DECODE_WORKER, { type: "module" });
  const { findings } = await placed;
  return await new Promise<PartView>((resolve, reject) => {
    let view: BodyView | null = null;
    worker.onmessage = ({ data }: MessageEvent<FromWorker>) => {
      if (data.error) {
        reject(new Error(data.error));
        worker.terminate();
      } else if (data.body) {
        try {
          view = new BodyView(data.body, findings, onPick);
          resolve(view);
        } catch (error) {
          reject(error);
        }
      } else if (data.tree) {
        view?.setTree(data.tree);
        worker.terminate();
      }
    };
    worker.onerror = (event) => reject(new Error(event.message));
    worker.postMessage({ url: api.geometryUrl(id, file) });
  });
}
