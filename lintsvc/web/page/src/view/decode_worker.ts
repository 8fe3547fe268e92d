// Fetches and unpacks a body off the page's own thread, and builds the search tree for picking.
import { BufferAttribute, BufferGeometry } from "three";
import { MeshBVH } from "three-mesh-bvh";
import { decodeBody } from "./decode";

self.onmessage = async (event: MessageEvent<{ url: string }>) => {
  try {
    const answer = await fetch(event.data.url, { credentials: "same-origin" });
    if (!answer.ok) throw new Error(`the geometry could not be fetched (${answer.status})`);
    const body = decodeBody(await answer.arrayBuffer());
    self.postMessage({ body }, { transfer: [] });
    const geometry = new BufferGeometry();
    geometry.setAttribute("position", new BufferAttribute(body.positions, 3));
    geometry.setIndex(new BufferAttribute(body.index, 1));
    // `indirect` leaves the faces in their order: their numbers are the report's.
    const tree = MeshBVH.serialize(new MeshBVH(geometry, { indirect: true }), { cloneBuffers: false });
    self.postMessage({ tree });
  } catch (error) {
    self.postMessage({ error: error instanceof Error ? error.message : String(error) });
  }
};
