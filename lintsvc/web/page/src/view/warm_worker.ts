// Wakes the graphics card up, off the page's own thread: a browser's first drawing context waits for it to be ready,
// and where there is no card that takes long. The page's own context is then made at once.
const context = typeof OffscreenCanvas === "undefined" ? null : new OffscreenCanvas(1, 1).getContext("webgl2");
// The answer comes when it is ready. The context is kept until the page ends this worker.
context?.getParameter(context.VERSION);
self.postMessage(context !== null);
export {};
