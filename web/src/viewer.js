// The trace viewer: one pane per unit, one time axis, one cursor. The first
// curves come thinned to the smallest and largest value of each bucket; every
// sample follows as soon as the page is at rest, or at the first zoom.
import { load } from "./binary.js";
import { readState, writeState } from "./state.js";
import { makePane, readColours } from "./pane.js";
import { fixed, short } from "./numbers.js";
import { bindInput } from "./input.js";
import { makeOverlays } from "./overlay.js";
import { clock, toggleMark } from "./mark.js";
import { toPeak } from "./peak.js";
import { makeHelp } from "./help.js";
import { picture, png, save } from "./export.js";

const BUCKETS = 1200;

export async function startTraces(root) {
  const url = root.dataset.traces;
  const wanted = new URLSearchParams(location.search).get("set") === "raw" ? "raw" : "filtered";
  let data;
  try {
    data = await load(url, { set: wanted, buckets: BUCKETS });
  } catch (err) {
    say(root, "The traces could not be loaded (" + err.message + "). The still picture is shown; reload the page to try again.");
    return;
  }
  if (!data.header.points) return;
  new Viewer(root, url, data);
}

function say(root, text) {
  const p = document.createElement("p");
  p.className = "notice warn";
  p.setAttribute("role", "status");
  p.textContent = text;
  root.prepend(p);
}

class Viewer {
  constructor(root, url, data) {
    this.root = root;
    this.url = url;
    this.data = data;
    this.sync = "traces";
    this.marks = data.header.marks;
    const x = data.x;
    this.record = { from: x[0], to: x[x.length - 1] };
    if (!(this.record.to > this.record.from)) this.record = { from: x[0] - 0.5, to: x[0] + 0.5 };
    this.first = { from: data.header.view_from_s * 1e3, to: data.header.view_to_s * 1e3 };
    this.state = this.fromAddress();
    this.cache = new Map([[this.state.set + "/b", data]]);
    this.palette = readColours();
    this.colours = () => this.palette;
    this.overlays = null;
    this.build();
    this.overlays = makeOverlays(this);
    this.fill();
    bindInput(this);
    this.whenIdle();
    if (this.overlays.any()) this.overlays.again();
    performance.mark("traces-first");
    root.dataset.ready = "buckets";
  }

  fromAddress() {
    const s = readState(this.data.channels.map((c) => c.name));
    if (s.from === null) Object.assign(s, this.first);
    return s;
  }

  // others gives the overlays of a pane.
  others(pane) { return this.overlays ? this.overlays.series(pane.channels) : []; }

  title() { return document.querySelector("h1").textContent; }

  width() { return this.live ? this.live.clientWidth : this.root.clientWidth - 24; }

  build() {
    const live = (this.live = document.createElement("div"));
    live.className = "trace-live";
    live.tabIndex = 0;
    live.setAttribute("role", "application");
    live.setAttribute("aria-label", "Traces. Arrow keys move the cursor, P puts it at the peak, M marks, plus and minus zoom, 0 shows the whole record.");
    const fixedPart = this.root.querySelector(".trace-static");
    fixedPart.classList.add("replaced");
    this.tools();
    this.readout = document.createElement("p");
    this.readout.className = "readout";
    this.readout.setAttribute("aria-live", "polite");
    this.times = document.createElement("p");
    this.times.className = "cursor-times num";
    this.root.append(this.times, live, this.readout);
    const units = [...new Set(this.data.channels.map((c) => c.unit))];
    this.panes = units.map((unit, i) =>
      makePane(this, unit, this.data.channels.filter((c) => c.unit === unit), i === units.length - 1));
    for (const p of this.panes) live.append(p.el);
    live.panes = this.panes;
    new ResizeObserver(() => this.frame(() => {
      for (const p of this.panes) p.plot.setSize({ width: Math.max(200, live.clientWidth), height: p.plot.height });
    })).observe(live);
    matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => {
      this.palette = readColours();
      for (const p of this.panes) p.plot.redraw(false, true);
    });
    addEventListener("popstate", () => { this.state = this.fromAddress(); this.show(); this.use(this.state.set); });
  }

  tools() {
    const bar = document.createElement("div");
    bar.className = "trace-tools";
    const button = (text, label, act) => {
      const b = document.createElement("button");
      b.type = "button";
      b.textContent = text;
      if (label) b.setAttribute("aria-label", label);
      b.addEventListener("click", act);
      bar.append(b);
      return b;
    };
    this.setButtons = {
      filtered: button("Filtered", "", () => this.use("filtered", true)),
      raw: button("As read", "", () => this.use("raw", true)),
    };
    button("+", "Zoom in", () => this.zoomBy(0.5, null, true));
    button("−", "Zoom out", () => this.zoomBy(2, null, true));
    button("Impact", "Show the impact", () => this.zoomTo(this.first.from, this.first.to, true));
    button("Whole record", "", () => this.whole());
    button("Peak", "Cursor to the peak, of one unit after the other", () => toPeak(this));
    button("Mark", "Put the mark at the cursor, or take it away there", () => toggleMark(this));
    const name = () => (location.pathname.split("/").pop() || "traces") + "-" + this.state.set;
    button("Picture, PNG", "", async () => save(await png(picture(this, this.title())), name() + ".png"));
    button("Picture, SVG", "", () => save(new Blob([picture(this, this.title())], { type: "image/svg+xml" }), name() + ".svg"));
    const help = makeHelp();
    this.help = help;
    bar.append(help);
    this.root.prepend(bar);
    this.pressed();
  }

  pressed() {
    for (const [set, b] of Object.entries(this.setButtons)) b.setAttribute("aria-pressed", String(set === this.state.set));
  }

  // frame runs fn at the next animation frame, the last one only.
  frame(fn) {
    if (this.pending) cancelAnimationFrame(this.pending);
    this.pending = requestAnimationFrame(() => { this.pending = 0; fn(); });
  }

  fill() {
    for (const p of this.panes) {
      const curves = p.channels.map((c) => {
        const now = this.data.channels.find((d) => d.name === c.name);
        const v = now && (now[this.state.set] || now.raw || now.filtered);
        return v || new Array(this.data.x.length).fill(null);
      });
      p.plot.setData([this.data.x, ...curves], true);
    }
    this.place();
  }

  show() {
    for (const p of this.panes) {
      p.channels.forEach((c, i) => {
        const on = !this.state.off.has(c.name);
        if (p.plot.series[i + 1].show !== on) p.plot.setSeries(i + 1, { show: on });
      });
      p.plot.setScale("x", { min: this.state.from, max: this.state.to });
    }
    this.place();
  }

  zoomTo(from, to, remember) {
    const least = Math.max((this.record.to - this.record.from) / Math.max(1, this.data.header.samples) * 4, 1e-6);
    let width = Math.min(Math.max(to - from, least), this.record.to - this.record.from);
    from = Math.min(Math.max(from, this.record.from), this.record.to - width);
    Object.assign(this.state, { from, to: from + width });
    this.frame(() => this.show());
    clearTimeout(this.noting);
    const note = () => writeState(this.state, this.first, true);
    if (remember) note(); else this.noting = setTimeout(note, 400);
    this.full();
  }

  zoomBy(factor, at, remember) {
    const { from, to, cursor } = this.state;
    if (at === null) at = cursor !== null && cursor >= from && cursor <= to ? cursor : (from + to) / 2;
    this.zoomTo(at - (at - from) * factor, at + (to - at) * factor, remember);
  }

  whole() { this.zoomTo(this.record.from, this.record.to, true); }

  toggle(name) {
    const { off } = this.state;
    if (!off.delete(name)) off.add(name);
    this.show();
    writeState(this.state, this.first, true);
    return !off.has(name);
  }

  async use(set, remember) {
    this.state.set = set;
    this.pressed();
    if (remember) writeState(this.state, this.first, true);
    await this.full();
    if (this.overlays.any()) await this.overlays.again();
  }

  whenIdle() {
    const later = window.requestIdleCallback || ((f) => setTimeout(f, 200));
    later(() => this.full());
  }

  async full() {
    const key = this.state.set;
    if (!this.cache.has(key)) this.cache.set(key, load(this.url, { set: key }));
    try {
      const data = await this.cache.get(key);
      if (key !== this.state.set || this.data === data) return;
      this.data = data;
      this.fill();
      if (this.root.dataset.ready !== "full") performance.mark("traces-full");
      this.root.dataset.ready = "full";
    } catch (err) {
      this.cache.delete(key);
      say(this.root, "Not every sample could be loaded (" + err.message + "). What is shown is thinned; its peaks are all there.");
    }
  }

  // moved is called by a plot whose cursor was moved by mouse or by place().
  moved(plot) {
    if (this.placing) return;
    const { left, idx } = plot.cursor;
    if (left === undefined || left < 0 || idx === null || idx === undefined) return;
    if (plot.cursor.event || plot.over.matches(":hover")) this.tell(this.data.x[idx]);
  }

  // tell notes the cursor's time and shows the values there, after why it is there.
  tell(ms, why = "") {
    this.state.cursor = ms;
    clock(this);
    const i = this.nearest(ms);
    for (const p of this.panes) p.now(i);
    clearTimeout(this.telling);
    this.telling = setTimeout(() => {
      const parts = [];
      for (const p of this.panes) {
        p.channels.forEach((c, k) => {
          if (!this.state.off.has(c.name)) parts.push(c.label + " " + short(p.plot.data[k + 1][i]) + (c.unit ? " " + c.unit : ""));
        });
      }
      this.readout.textContent = why + "At " + fixed(this.data.x[i], 2) + " ms: " + parts.join("; ");
      writeState(this.state, this.first, false);
    }, 250);
  }

  nearest(ms) {
    const { x } = this.data;
    let a = 0, b = x.length - 1;
    while (a < b) {
      const m = (a + b) >> 1;
      if (x[m] < ms) a = m + 1; else b = m;
    }
    return a > 0 && ms - x[a - 1] < x[a] - ms ? a - 1 : a;
  }

  // place puts the cursor of all panes where the state says.
  place() {
    clock(this);
    if (this.state.cursor === null) return;
    this.placing = true;
    const i = this.nearest(this.state.cursor);
    for (const p of this.panes) {
      const left = p.plot.valToPos(this.data.x[i], "x");
      p.plot.setCursor({ left: left >= 0 && left <= p.plot.over.clientWidth ? left : -10, top: 0 }, false);
      p.now(i);
    }
    this.placing = false;
  }

  step(samples) {
    const { x } = this.data;
    const { from, to } = this.state;
    const at = this.state.cursor === null || this.state.cursor < from || this.state.cursor > to ? (from + to) / 2 : this.state.cursor;
    const i = Math.min(Math.max(this.nearest(at) + samples, 0), x.length - 1);
    this.goTo(i, "");
  }

  // goTo puts the cursor at a sample, and the view where it is seen.
  goTo(i, why) {
    const { x } = this.data;
    const { from, to } = this.state;
    this.tell(x[i], why);
    if (x[i] < from || x[i] > to) {
      const half = (to - from) / 2;
      this.zoomTo(x[i] - half, x[i] + half, false);
    }
    this.place();
  }
}
