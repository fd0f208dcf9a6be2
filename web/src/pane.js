// One pane: all channels of one unit in one uPlot, with a key of buttons.
import uPlot from "uplot";
import { drawOverlays } from "./overlay.js";
import { drawMark } from "./mark.js";
import { digitsFor, fixed, short } from "./numbers.js";

const HEIGHT = 170;
const AXIS = 52;
const DASH = { y: [7, 3], z: [2, 3] };

/** Colours of the style sheet, read again when light and dark change. */
export function readColours() {
  const css = getComputedStyle(document.documentElement);
  const get = (n) => css.getPropertyValue("--" + n).trim();
  return {
    hue: [0, 1, 2, 3].map((i) => get("hue" + i)),
    line: get("line"), edge: get("edge"), muted: get("muted"), mark: get("mark"), fg: get("fg"), panel: get("panel"),
  };
}

/**
 * makePane builds the pane and returns {el, plot, now(index)}.
 * host gives colours(), state, toggle(name), zoomTo(from, to), moveTo(ms).
 */
export function makePane(host, unit, channels, last) {
  const el = document.createElement("div");
  el.className = "pane";
  const head = document.createElement("div");
  head.className = "pane-unit";
  head.textContent = unit || "no unit";
  const key = document.createElement("ul");
  key.className = "key";
  const nows = channels.map((c) => keyEntry(host, key, c));
  el.append(head, key);

  const font = '12px system-ui, "Segoe UI", Roboto, "Noto Sans", "DejaVu Sans", sans-serif';
  const c = host.colours;
  const ticks = (u, splits) => splits.map((v) => fixed(v, digitsFor(splits[1] - splits[0])));
  const axis = { stroke: () => c().muted, font, grid: { stroke: () => c().line, width: 1 }, ticks: { show: false }, values: ticks };
  const plot = new uPlot(
    {
      width: Math.max(200, host.width()),
      height: HEIGHT + (last ? 44 : 0),
      padding: [8, 14, last ? 0 : 6, 0],
      legend: { show: false },
      scales: {
        x: { time: false, range: () => [host.state.from, host.state.to] },
        y: { range: (u, low, high) => widened(host.others({ channels }), low, high, host.state.from, host.state.to) },
      },
      axes: [
        { ...axis, size: last ? 24 : 0, values: last ? ticks : (u, s) => s.map(() => ""), label: last ? host.data.header.time.label : undefined, labelSize: last ? 20 : 0, labelFont: font, space: 70 },
        { ...axis, size: AXIS, space: 30 },
      ],
      series: [{}, ...channels.map((ch) => ({
        show: !host.state.off.has(ch.name),
        stroke: () => c().hue[ch.hue],
        width: ch.axis === "resultant" ? 2.5 : 1.5,
        dash: DASH[ch.axis],
        points: { show: false },
      }))],
      cursor: {
        y: false, points: { show: false },
        drag: { x: true, y: false, setScale: false },
        sync: { key: host.sync, setSeries: false },
        bind: { dblclick: () => () => { host.whole(); return null; } },
      },
      hooks: {
        drawClear: [(u) => { drawMarks(u, host, unit, c()); }],
        drawAxes: [(u) => drawOverlays(u, host.others({ channels }), c().hue)],
        draw: [(u) => drawMark(u, host.state, c())],
        setSelect: [(u) => {
          if (u.select.width < 4) return;
          const from = u.posToVal(u.select.left, "x"), to = u.posToVal(u.select.left + u.select.width, "x");
          u.setSelect({ left: 0, top: 0, width: 0, height: 0 }, false);
          host.zoomTo(from, to, true);
        }],
        setCursor: [(u) => host.moved(u)],
      },
    },
    [[host.state.from, host.state.to], ...channels.map(() => [null, null])],
    el,
  );
  return {
    el, plot, channels, unit,
    now(i) { channels.forEach((ch, k) => { nows[k].textContent = i === null ? "" : short(plot.data[k + 1][i]); }); },
  };
}

// span rounds the ends outward, keeps zero in sight, and never is empty.
function span(low, high) {
  if (low === null || high === null || low === undefined) return [-1, 1];
  const a = Math.min(0, low), b = Math.max(0, high);
  const pad = (b - a) * 0.05 || 1;
  return [a < 0 ? a - pad : a, b > 0 ? b + pad : b];
}

// widened is span with room for what of the overlays is in view too.
function widened(others, low, high, from, to) {
  for (const { x, v } of others) {
    for (let i = 0; i < v.length; i++) {
      if (x[i] < from || x[i] > to) continue;
      if (v[i] === null || Number.isNaN(v[i])) continue;
      if (low === null || low === undefined || v[i] < low) low = v[i];
      if (high === null || high === undefined || v[i] > high) high = v[i];
    }
  }
  return span(low, high);
}

function drawMarks(u, host, unit, c) {
  u.ctx.save();
  u.ctx.fillStyle = c.mark;
  const size = 11 * (devicePixelRatio || 1);
  u.ctx.font = size + "px system-ui, sans-serif";
  u.ctx.textBaseline = "top";
  for (const [n, m] of host.marks.entries()) {
    if (m.unit && m.unit !== unit) continue;
    const a = Math.max(u.valToPos(m.from_s * 1e3, "x", true), u.bbox.left);
    const b = Math.min(u.valToPos(m.to_s * 1e3, "x", true), u.bbox.left + u.bbox.width);
    if (!(b > a)) continue;
    u.ctx.fillStyle = c.mark;
    u.ctx.fillRect(a, u.bbox.top, b - a, u.bbox.height);
    u.ctx.fillStyle = c.muted;
    u.ctx.fillRect(a, u.bbox.top, 1, u.bbox.height);
    // Before the window, where the record is quiet; within it where there is no room.
    const before = a - u.bbox.left > u.ctx.measureText(m.label).width + 8;
    u.ctx.textAlign = before ? "right" : "left";
    u.ctx.fillText(m.label, before ? a - 4 : a + 4, u.bbox.top + 2 + n * size * 1.2);
  }
  u.ctx.restore();
}

function keyEntry(host, key, ch) {
  const li = document.createElement("li");
  const button = document.createElement("button");
  button.type = "button";
  button.setAttribute("aria-pressed", String(!host.state.off.has(ch.name)));
  const ns = "http://www.w3.org/2000/svg";
  const svg = document.createElementNS(ns, "svg");
  svg.setAttribute("class", "sample");
  svg.setAttribute("width", "28");
  svg.setAttribute("height", "10");
  svg.setAttribute("aria-hidden", "true");
  const path = document.createElementNS(ns, "path");
  const axis = { y: " axis-y", z: " axis-z", resultant: " axis-r" }[ch.axis] || "";
  path.setAttribute("class", "curve hue" + ch.hue + axis);
  path.setAttribute("d", "M0 5H28");
  svg.append(path);
  button.append(svg, ch.label + (ch.class ? ", " + ch.class : ""));
  const now = document.createElement("span");
  now.className = "now num";
  button.addEventListener("click", () => {
    const shown = host.toggle(ch.name);
    button.setAttribute("aria-pressed", String(shown));
  });
  li.append(button, now);
  key.append(li);
  return now;
}
