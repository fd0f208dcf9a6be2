// Wheel, fingers and keys for the trace viewer.
import { toggleMark } from "./mark.js";
import { toPeak } from "./peak.js";

export function bindInput(viewer) {
  const { live } = viewer;
  const overs = () => viewer.panes.map((p) => p.plot.over);
  const timeAt = (clientX) => {
    const box = overs()[0].getBoundingClientRect();
    const part = (clientX - box.left) / (box.width || 1);
    return viewer.state.from + part * (viewer.state.to - viewer.state.from);
  };

  // The wheel scrolls the page unless the traces were chosen first.
  live.addEventListener("wheel", (e) => {
    if (!e.ctrlKey && !live.contains(document.activeElement)) return;
    e.preventDefault();
    viewer.zoomBy(Math.exp(Math.max(-1, Math.min(1, e.deltaY / 240))), timeAt(e.clientX), false);
  }, { passive: false });
  live.addEventListener("pointerdown", (e) => { if (e.pointerType === "mouse" && !e.target.closest("button")) live.focus({ preventScroll: true }); });

  live.addEventListener("keydown", (e) => {
    if (e.ctrlKey || e.metaKey || e.altKey || e.target !== live) return;
    const acts = {
      ArrowLeft: () => viewer.step(e.shiftKey ? -10 : -1),
      ArrowRight: () => viewer.step(e.shiftKey ? 10 : 1),
      Home: () => viewer.tell(viewer.state.from) || viewer.place(),
      End: () => viewer.tell(viewer.state.to) || viewer.place(),
      "+": () => viewer.zoomBy(0.5, null, true),
      "=": () => viewer.zoomBy(0.5, null, true),
      "-": () => viewer.zoomBy(2, null, true),
      m: () => toggleMark(viewer),
      M: () => toggleMark(viewer),
      p: () => toPeak(viewer),
      P: () => toPeak(viewer),
      "0": () => viewer.whole(),
      "?": () => { viewer.help.open = !viewer.help.open; },
    };
    if (!acts[e.key]) return;
    e.preventDefault();
    acts[e.key]();
  });

  live.addEventListener("click", (e) => {
    if (!e.shiftKey || !e.target.closest(".uplot")) return;
    viewer.tell(timeAt(e.clientX));
    viewer.place();
    toggleMark(viewer);
  });

  bindFingers(viewer, timeAt);
}

// One finger moves the cursor, two fingers pan and zoom; up and down scrolls
// the page (touch-action: pan-y).
function bindFingers(viewer, timeAt) {
  const { live } = viewer;
  const down = new Map();
  let start = null;
  const begin = () => {
    const xs = [...down.values()];
    start = xs.length === 2 ? { a: timeAt(Math.min(...xs)), b: timeAt(Math.max(...xs)) } : null;
  };
  live.addEventListener("pointerdown", (e) => {
    if (e.pointerType !== "touch" || !e.target.closest(".uplot")) return;
    down.set(e.pointerId, e.clientX);
    begin();
    if (down.size === 1) { viewer.tell(timeAt(e.clientX)); viewer.place(); }
  });
  live.addEventListener("pointermove", (e) => {
    if (!down.has(e.pointerId)) return;
    down.set(e.pointerId, e.clientX);
    if (down.size === 1) {
      viewer.tell(Math.min(Math.max(timeAt(e.clientX), viewer.state.from), viewer.state.to));
      viewer.place();
      return;
    }
    if (!start) return;
    // The times under the fingers at the start stay under them.
    const box = viewer.panes[0].plot.over.getBoundingClientRect();
    const xs = [...down.values()].map((x) => (x - box.left) / (box.width || 1)).sort((p, q) => p - q);
    if (xs[1] - xs[0] < 0.02) return;
    const perWidth = (start.b - start.a) / (xs[1] - xs[0]);
    const from = start.a - xs[0] * perWidth;
    viewer.zoomTo(from, from + perWidth, false);
  });
  for (const end of ["pointerup", "pointercancel", "pointerleave"]) {
    live.addEventListener(end, (e) => { if (down.delete(e.pointerId)) begin(); });
  }
}
