// Numbers as the pages write them: U+2212 as minus, never "-0".
export function fixed(v, digits) {
  const s = v.toFixed(digits);
  if (!s.startsWith("-")) return s;
  return /[1-9]/.test(s) ? "\u2212" + s.slice(1) : s.slice(1);
}

/** digitsFor gives the places that tell neighbouring ticks apart. */
export function digitsFor(step) {
  return Math.max(0, -Math.floor(Math.log10(Math.abs(step) || 1) + 1e-9));
}

/** short gives a value about four figures. */
export function short(v) {
  if (v === null || v === undefined || Number.isNaN(v)) return "–";
  const a = Math.abs(v);
  return fixed(v, a >= 100 ? 0 : a >= 10 ? 1 : a >= 0.1 ? 2 : 3);
}
