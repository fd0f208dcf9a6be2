// The cursor at the peaks: of one unit after the other, by one key.

/** toPeak moves the cursor to the largest magnitude of the next unit whose channels are shown. */
export function toPeak(viewer) {
  const { panes, state } = viewer;
  for (let n = 0; n < panes.length; n++) {
    viewer.peakOf = ((viewer.peakOf ?? -1) + 1) % panes.length;
    const found = largest(panes[viewer.peakOf], state.off);
    if (!found) continue;
    viewer.goTo(found.at, "Peak of " + found.label + ". ");
    return;
  }
}

// largest looks at the resultant where it is shown, else at all channels shown.
function largest(pane, off) {
  const shown = pane.channels.map((c, k) => ({ c, v: pane.plot.data[k + 1] })).filter(({ c }) => !off.has(c.name));
  const resultant = shown.filter(({ c }) => c.axis === "resultant");
  let most = -1, found = null;
  for (const { c, v } of resultant.length ? resultant : shown) {
    for (let i = 0; i < v.length; i++) {
      if (v[i] === null || !(Math.abs(v[i]) > most)) continue;
      most = Math.abs(v[i]);
      found = { at: i, label: c.label };
    }
  }
  return found;
}
