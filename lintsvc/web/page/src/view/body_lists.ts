// The lists of a body in words: bodies, and holes grouped by size.
import { text } from "../strings";
import { length, quantity, size } from "../units";
import type { BodyHole, BodyLists, FeatureGroup, PartLists } from "./placed";

export function bodyLists(lists: BodyLists): PartLists {
  const bodies = lists.bodies.map((body, i): FeatureGroup => {
    const volume = body.volume_mm3;
    const kind = volume === null ? text.lists.openBody : volume < 0 ? text.lists.hollow : quantity(volume, "mm3");
    const words = `${body.name || text.lists.body(i + 1)}: ${size(body.size)}, ${kind}`;
    return { words, items: [{ words, faces: body.faces }] };
  });
  const groups = new Map<string, BodyHole[]>();
  for (const hole of lists.holes) {
    const words = text.lists.hole(length(hole.diameter_mm), hole.kind);
    groups.set(words, [...(groups.get(words) ?? []), hole]);
  }
  const holes = [...groups].map(([words, list]): FeatureGroup => ({
    words, items: list.map((x) => ({ words: text.lists.deep(length(x.depth_mm)), faces: x.faces })),
  }));
  const more = [
    lists.more_bodies ? text.lists.moreBodies(lists.more_bodies) : "",
    lists.more_holes ? text.lists.moreHoles(lists.more_holes) : "",
  ].filter(Boolean);
  return { bodies, holes, bends: [], more };
}
