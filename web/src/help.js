// What keys and mouse do in the traces.
export function makeHelp() {
  const help = document.createElement("details");
  const head = document.createElement("summary");
  head.textContent = "Keys";
  const list = document.createElement("p");
  list.textContent = "Drag across the traces to zoom in; double click for the whole record; with the traces in focus the wheel zooms. " +
    "Arrows move the cursor by a sample, with Shift by ten; P puts it at the peak, of one unit after the other. M, or a click with Shift, puts a mark there; the difference in time to the cursor is shown. + and − zoom, 0 shows the whole record, [ and ] go to the previous and next shot, ? opens this.";
  help.append(head, list);
  return help;
}
