// Other shots of the same cell, laid over the traces: the same channels, fainter,
// drawn on their own times, so that nothing is resampled.
import { load } from "./binary.js";

/** makeOverlays adds the list of shots to choose from, and gives {series, draw}. */
export function makeOverlays(viewer) {
  const list = document.getElementById("overlay-list");
  const got = new Map(); // id and set → data
  const asked = new Set((new URLSearchParams(location.search).get("o") || "").split(",").filter(Boolean));
  const note = () => {
    const q = new URLSearchParams(location.search);
    if (asked.size) q.set("o", [...asked].join(",")); else q.delete("o");
    const text = q.toString().replaceAll("%2C", ",");
    history.replaceState(null, "", location.pathname + (text ? "?" + text : "") + location.hash);
  };
  const boxes = new Map();

  async function fetchAll() {
    for (const id of asked) {
      const key = id + "/" + viewer.state.set;
      const box = boxes.get(id);
      if (got.has(key) || !box) continue;
      try {
        got.set(key, await load(box.dataset.traces, { set: viewer.state.set }));
      } catch (err) {
        asked.delete(id);
        box.checked = false;
        box.closest("label").append(" (not loaded: " + err.message + ")");
      }
    }
    for (const p of viewer.panes) p.plot.setData(p.plot.data, true);
    viewer.place();
    viewer.root.dataset.overlays = String(asked.size);
  }

  if (list) {
    list.hidden = false;
    for (const box of list.querySelectorAll("input")) {
      boxes.set(box.value, box);
      box.checked = asked.has(box.value);
      box.addEventListener("change", () => {
        if (box.checked) asked.add(box.value); else asked.delete(box.value);
        note();
        fetchAll();
      });
    }
    for (const id of [...asked]) if (!boxes.has(id)) asked.delete(id);
  }

  // series gives the overlays of one pane as {ch, x, v}.
  const series = (channels) => {
    const out = [];
    for (const id of asked) {
      const data = got.get(id + "/" + viewer.state.set);
      for (const ch of data ? channels : []) {
        const other = data.channels.find((c) => c.name === ch.name && c.unit === ch.unit);
        const v = other && (other[viewer.state.set] || other.raw || other.filtered);
        if (v && !viewer.state.off.has(ch.name)) out.push({ ch, x: data.x, v });
      }
    }
    return out;
  };

  return { series, again: fetchAll, any: () => asked.size > 0 };
}

/** drawOverlays draws series into a plot, under its own curves. */
export function drawOverlays(u, series, hues) {
  const { ctx, bbox } = u;
  ctx.save();
  ctx.beginPath();
  ctx.rect(bbox.left, bbox.top, bbox.width, bbox.height);
  ctx.clip();
  ctx.globalAlpha = 0.45;
  ctx.lineWidth = devicePixelRatio || 1;
  const { min, max } = u.scales.x;
  for (const { ch, x, v } of series) {
    ctx.strokeStyle = hues[ch.hue];
    ctx.beginPath();
    let pen = false;
    for (let i = 0; i < x.length; i++) {
      if (x[i] < min || x[i] > max) continue;
      if (v[i] === null || Number.isNaN(v[i])) { pen = false; continue; }
      const a = u.valToPos(x[i], "x", true), b = u.valToPos(v[i], "y", true);
      if (pen) ctx.lineTo(a, b); else ctx.moveTo(a, b);
      pen = true;
    }
    ctx.stroke();
  }
  ctx.restore();
}
