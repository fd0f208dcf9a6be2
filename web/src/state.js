// The view of the traces stands in the address: reload and paste give the same
// view, and Back undoes a zoom.
//   t=FROM,TO   part shown, ms        set=raw   curves as read
//   off=ax,ay   channels not shown    c=MS      cursor     m=MS      mark

export function readState(channels) {
  const q = new URLSearchParams(location.search);
  const [from, to] = (q.get("t") || "").split(",").map(Number);
  const names = new Set(channels);
  const c = q.has("c") ? Number(q.get("c")) : NaN;
  return {
    from: Number.isFinite(from) && to > from ? from : null,
    to: Number.isFinite(from) && to > from ? to : null,
    set: q.get("set") === "raw" ? "raw" : "filtered",
    off: new Set((q.get("off") || "").split(",").filter((n) => names.has(n))),
    cursor: Number.isFinite(c) ? c : null,
    mark: q.has("m") && Number.isFinite(Number(q.get("m"))) ? Number(q.get("m")) : null,
  };
}

export function writeState(s, whole, remember) {
  const q = new URLSearchParams(location.search);
  const put = (k, v) => (v ? q.set(k, v) : q.delete(k));
  put("t", s.from === whole.from && s.to === whole.to ? "" : s.from.toFixed(3) + "," + s.to.toFixed(3));
  put("set", s.set === "raw" ? "raw" : "");
  put("off", [...s.off].join(","));
  put("c", s.cursor === null ? "" : s.cursor.toFixed(3));
  put("m", s.mark === null ? "" : s.mark.toFixed(3));
  const text = q.toString().replaceAll("%2C", ",");
  const url = location.pathname + (text ? "?" + text : "") + location.hash;
  if (url === location.pathname + location.search + location.hash) return;
  history[remember ? "pushState" : "replaceState"](null, "", url);
}
