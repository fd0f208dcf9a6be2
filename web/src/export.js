// The present view of the traces as a picture: an SVG made of the same data,
// and a PNG drawn from it. Thinned to the smallest and largest value of each
// half pixel, so that no peak is lost.
import { digitsFor, fixed } from "./numbers.js";

const W = 1000, H = 220, LEFT = 64, RIGHT = 16, TOP = 30, COLUMNS = 1700, LABEL = 110;
const DASH = { y: "7 3", z: "2 3" };
const esc = (s) => String(s).replace(/[&<>"]/g, (c) => ({ "&": "&amp;", "<": "&lt;", ">": "&gt;", '"': "&quot;" })[c]);

/** picture gives the SVG of a viewer's present view as text. */
export function picture(viewer, title) {
  const { from, to } = viewer.state;
  const c = viewer.colours();
  const px = (ms) => LEFT + ((ms - from) / (to - from)) * (W - LEFT - RIGHT);
  const parts = [];
  let y = 34;
  for (const pane of viewer.panes) {
    const shown = pane.channels.map((ch, k) => ({ ch, x: viewer.data.x, v: pane.plot.data[k + 1] })).filter((s) => !viewer.state.off.has(s.ch.name));
    const others = viewer.others(pane);
    const [low, high] = ends(shown.concat(others), from, to);
    const py = (v) => y + TOP + (1 - (v - low) / (high - low)) * (H - TOP);
    parts.push(`<text x="${LEFT}" y="${y + 14}" font-weight="600">${esc(pane.unit || "no unit")}</text>`);
    parts.push(`<text x="${LEFT + 70}" y="${y + 14}">${shown.map((s) => `<tspan fill="${c.hue[s.ch.hue]}">${esc(s.ch.label + (s.ch.class ? ", " + s.ch.class : ""))}</tspan>`).join(" · ")}</text>`);
    for (const m of viewer.marks) {
      if (m.unit && m.unit !== pane.unit) continue;
      const a = Math.max(px(m.from_s * 1e3), LEFT), b = Math.min(px(m.to_s * 1e3), W - RIGHT);
      if (!(b > a)) continue;
      const before = a > LEFT + LABEL; // where the record is quiet
      parts.push(`<rect x="${a}" y="${y + TOP}" width="${b - a}" height="${H - TOP}" fill="${c.mark}"/><text x="${before ? a - 3 : a + 3}" y="${y + TOP + 12 + 13 * viewer.marks.indexOf(m)}" text-anchor="${before ? "end" : "start"}" font-size="11" fill="${c.muted}">${esc(m.label)}</text>`);
    }
    const step = nice((high - low) / 4);
    for (let v = Math.ceil(low / step) * step; v <= high + step * 1e-9; v += step) {
      parts.push(`<path d="M${LEFT} ${py(v).toFixed(1)}H${W - RIGHT}" stroke="${c.line}"/><text x="${LEFT - 6}" y="${(py(v) + 4).toFixed(1)}" text-anchor="end" fill="${c.muted}">${fixed(v, digitsFor(step))}</text>`);
    }
    for (const s of others) parts.push(`<path d="${line(s, from, to, px, py)}" fill="none" stroke="${c.hue[s.ch.hue]}" stroke-opacity="0.45"/>`);
    for (const s of shown) parts.push(`<path d="${line(s, from, to, px, py)}" fill="none" stroke="${c.hue[s.ch.hue]}" stroke-width="${s.ch.axis === "resultant" ? 2.5 : 1.5}"${DASH[s.ch.axis] ? ` stroke-dasharray="${DASH[s.ch.axis]}"` : ""}/>`);
    parts.push(`<rect x="${LEFT}" y="${y + TOP}" width="${W - LEFT - RIGHT}" height="${H - TOP}" fill="none" stroke="${c.edge}"/>`);
    y += H + 14;
  }
  const step = nice((to - from) / 8);
  for (let v = Math.ceil(from / step) * step; v <= to + step * 1e-9; v += step) parts.push(`<text x="${px(v).toFixed(1)}" y="${y + 6}" text-anchor="middle" fill="${c.muted}">${fixed(v, digitsFor(step))}</text>`);
  parts.push(`<text x="${(LEFT + W - RIGHT) / 2}" y="${y + 26}" text-anchor="middle">${esc(viewer.data.header.time.label)}</text>`);
  const height = y + 36;
  return `<svg xmlns="http://www.w3.org/2000/svg" width="${W}" height="${height}" viewBox="0 0 ${W} ${height}" font-family="system-ui, sans-serif" font-size="13" fill="${c.fg}"><title>${esc(title)}</title><rect width="${W}" height="${height}" fill="${c.panel}"/><text x="${LEFT}" y="20" font-size="15" font-weight="600">${esc(title)}</text>${parts.join("")}</svg>`;
}

function ends(series, from, to) {
  let low = 0, high = 0;
  for (const { x, v } of series) for (let i = 0; i < x.length; i++) if (x[i] >= from && x[i] <= to && v[i] !== null) { low = Math.min(low, v[i]); high = Math.max(high, v[i]); }
  const pad = (high - low) * 0.05 || 1;
  return [low < 0 ? low - pad : low, high > 0 || low === 0 ? high + pad : high];
}

function line({ x, v }, from, to, px, py) {
  let d = "", pen = "M", at = -1, low = 0, high = 0, lowAt = 0, highAt = 0;
  const put = (i) => { d += pen + px(x[i]).toFixed(2) + " " + py(v[i]).toFixed(2); pen = "L"; };
  const flush = () => { if (at >= 0) { put(Math.min(lowAt, highAt)); if (lowAt !== highAt) put(Math.max(lowAt, highAt)); at = -1; } };
  for (let i = 0; i < x.length; i++) {
    if (x[i] < from || x[i] > to) continue;
    if (v[i] === null || Number.isNaN(v[i])) { flush(); pen = "M"; continue; }
    const column = Math.floor(((x[i] - from) / (to - from)) * COLUMNS);
    if (column !== at) { flush(); at = column; low = high = v[i]; lowAt = highAt = i; continue; }
    if (v[i] < low) { low = v[i]; lowAt = i; }
    if (v[i] > high) { high = v[i]; highAt = i; }
  }
  flush();
  return d;
}

function nice(step) {
  const p = 10 ** Math.floor(Math.log10(step));
  return [1, 2, 5, 10].find((m) => m * p >= step * 0.999) * p;
}

/** save hands a blob to the reader as a download. */
export function save(blob, name) {
  const a = document.createElement("a");
  a.href = URL.createObjectURL(blob);
  a.download = name;
  document.body.append(a);
  a.click();
  a.remove();
  setTimeout(() => URL.revokeObjectURL(a.href), 10_000);
}

/** png draws an SVG, twice as large. */
export async function png(svg) {
  const image = new Image();
  image.src = "data:image/svg+xml;charset=utf-8," + encodeURIComponent(svg);
  await image.decode();
  const canvas = document.createElement("canvas");
  canvas.width = image.width * 2;
  canvas.height = image.height * 2;
  canvas.getContext("2d").drawImage(image, 0, 0, canvas.width, canvas.height);
  return new Promise((done) => canvas.toBlob(done, "image/png"));
}
