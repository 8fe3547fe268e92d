// Mouse, touch and keys on the flat view: move, zoom, choose.
import type { FlatView } from "./flat_view";

export function listenToFlat(view: FlatView): void {
  const { drawing } = view;
  // Points here are of the drawing, whose y grows downwards.
  const zoomAt = (factor: number, px: number, py: number) => {
    const [left, top, width, height] = view.frame;
    const scale = Math.max(factor, view.narrowest / width);
    view.frame = [px - (px - left) * scale, py - (py - top) * scale, width * scale, height * scale];
    view.show();
  };
  const at = (event: { clientX: number; clientY: number }): [number, number] => {
    const [x, y] = view.at(event);
    return [x, -y];
  };
  drawing.addEventListener("wheel", (event) => {
    event.preventDefault();
    zoomAt(Math.exp(event.deltaY * 0.0015), ...at(event));
  }, { passive: false });
  const held = new Map<number, [number, number]>();
  let moved = 0;
  drawing.addEventListener("pointerdown", (event) => {
    held.set(event.pointerId, [event.clientX, event.clientY]);
    moved = 0;
  });
  drawing.addEventListener("pointermove", (event) => {
    const before = held.get(event.pointerId);
    if (!before) return;
    moved += Math.hypot(event.clientX - before[0], event.clientY - before[1]);
    if (moved > 4 && !drawing.hasPointerCapture(event.pointerId)) drawing.setPointerCapture(event.pointerId);
    const others = [...held.entries()].filter(([id]) => id !== event.pointerId);
    if (others.length === 1) {
      const [ox, oy] = others[0]![1];
      const was = Math.hypot(before[0] - ox, before[1] - oy);
      const is = Math.hypot(event.clientX - ox, event.clientY - oy);
      if (was > 0 && is > 0) zoomAt(was / is, ...at({ clientX: (event.clientX + ox) / 2, clientY: (event.clientY + oy) / 2 }));
    } else {
      const px = view.perPixel();
      view.frame[0] -= (event.clientX - before[0]) * px;
      view.frame[1] -= (event.clientY - before[1]) * px;
      view.show();
    }
    held.set(event.pointerId, [event.clientX, event.clientY]);
  });
  for (const end of ["pointerup", "pointercancel"] as const) drawing.addEventListener(end, (event) => held.delete(event.pointerId));
  drawing.addEventListener("click", (event) => { if (moved < 4) view.pick(event); });
  drawing.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey) return undefined;
    const step = 0.1;
    const [left, top, width, height] = view.frame;
    if (event.key === "ArrowLeft") view.frame[0] = left - width * step;
    else if (event.key === "ArrowRight") view.frame[0] = left + width * step;
    else if (event.key === "ArrowUp") view.frame[1] = top - height * step;
    else if (event.key === "ArrowDown") view.frame[1] = top + height * step;
    else if (event.key === "+" || event.key === "=") zoomAt(0.8, left + width / 2, top + height / 2);
    else if (event.key === "-") zoomAt(1.25, left + width / 2, top + height / 2);
    else return undefined;
    event.preventDefault();
    return view.show();
  });
}
