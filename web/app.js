// What the pages do beyond plain links and forms. Everything works without it;
// with it the traces can be zoomed and the overview keeps itself fresh.
import "uplot/dist/uPlot.min.css";
import { startTraces } from "./src/viewer.js";
import { startLive } from "./src/live.js";
import { startTimers } from "./src/timers.js";
import { startKeys } from "./src/keys.js";
import { startDraft } from "./src/draft.js";
import { startKeypad } from "./src/pin.js";
import { startQueue } from "./src/queue.js";

startKeys();
startQueue();
startTimers();
startLive(document.getElementById("live"));
const traces = document.getElementById("traces");
if (traces) startTraces(traces);
const kept = document.querySelector("form[data-draft]");
if (kept) startDraft(kept);
const keypad = document.querySelector("[data-keypad]");
if (keypad) startKeypad(keypad);
