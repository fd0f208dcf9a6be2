// The second cursor of the traces, and the times of both.
import { writeState } from "./state.js";
import { fixed } from "./numbers.js";

/** clock shows the times of the cursor and the mark, and what lies between. */
export function clock(viewer) {
  const { cursor, mark } = viewer.state;
  const at = (ms) => viewer.data.x[viewer.nearest(ms)];
  const parts = [cursor === null ? "Cursor: point at the traces" : "Cursor " + fixed(at(cursor), 2) + " ms"];
  if (mark !== null) parts.push("mark " + fixed(at(mark), 2) + " ms");
  if (mark !== null && cursor !== null) parts.push("difference " + fixed(at(cursor) - at(mark), 2) + " ms");
  viewer.times.textContent = parts.join(" · ");
}

/** toggleMark puts the mark where the cursor is, or takes it away there. */
export function toggleMark(viewer) {
  const { cursor, mark } = viewer.state;
  if (cursor === null) return;
  viewer.state.mark = mark !== null && viewer.nearest(mark) === viewer.nearest(cursor) ? null : cursor;
  clock(viewer);
  for (const p of viewer.panes) p.plot.redraw(false, false);
  writeState(viewer.state, viewer.first, false);
}

/** drawMark draws the mark into a plot. */
export function drawMark(u, state, c) {
  if (state.mark === null || state.mark < state.from || state.mark > state.to) return;
  const at = u.valToPos(state.mark, "x", true), ratio = devicePixelRatio || 1;
  u.ctx.save();
  u.ctx.strokeStyle = c.fg;
  u.ctx.lineWidth = ratio;
  u.ctx.setLineDash([6 * ratio, 4 * ratio]);
  u.ctx.beginPath();
  u.ctx.moveTo(at, u.bbox.top);
  u.ctx.lineTo(at, u.bbox.top + u.bbox.height);
  u.ctx.stroke();
  u.ctx.restore();
}
