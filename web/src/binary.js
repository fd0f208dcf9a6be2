// Reads the binary form of traces; the form is described in web/chart/binary.go.

const MAGIC = 0x31544254; // "TBT1", little endian

/** parse returns {header, x, channels}: x in ms, channels with raw and filtered. */
export function parse(buffer) {
  const view = new DataView(buffer);
  if (buffer.byteLength < 8 || view.getUint32(0, true) !== MAGIC) {
    throw new Error("the answer is not in the form of traces");
  }
  const base = 8 + view.getUint32(4, true);
  const header = JSON.parse(new TextDecoder().decode(new Uint8Array(buffer, 8, base - 8)));
  header.time.label ||= "time in the record, ms"; // an answer that the browser kept from before has none
  const n = header.points;
  const x = new Float64Array(n);
  if (header.time.offset < 0) {
    for (let i = 0; i < n; i++) x[i] = (header.time.start_s + i * header.time.step_s) * 1e3;
  } else {
    const t = new Float64Array(buffer, base + header.time.offset, n);
    for (let i = 0; i < n; i++) x[i] = t[i] * 1e3;
  }
  const channels = header.channels.map((c) => ({
    ...c,
    raw: values(buffer, base, c.raw, n),
    filtered: values(buffer, base, c.filtered, n),
  }));
  return { header, x, channels };
}

// values gives one curve; samples that were not read become null, which the
// chart shows as a gap.
function values(buffer, base, offset, n) {
  if (offset < 0) return null;
  const v = new Float32Array(buffer, base + offset, n);
  return v.some(Number.isNaN) ? Array.from(v, (a) => (Number.isNaN(a) ? null : a)) : v;
}

/** load fetches and parses; query is set and buckets. */
export async function load(url, query) {
  const answer = await fetch(url + "?" + new URLSearchParams(query), { credentials: "same-origin" });
  if (!answer.ok) throw new Error("the program answered " + answer.status);
  return parse(await answer.arrayBuffer());
}
