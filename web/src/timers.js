// Counts up the ages of what is marked with data-since. Without it they stand as
// they were when the page was made.
export function startTimers() {
  setInterval(() => {
    for (const el of document.querySelectorAll("[data-since]")) {
      const s = Math.max(0, Math.floor((Date.now() - Date.parse(el.dataset.since)) / 1000));
      const parts = s < 3600 ? [Math.floor(s / 60) + " min", (s % 60) + " s"] : [Math.floor(s / 3600) + " h", Math.floor(s / 60) % 60 + " min"];
      const text = parts.join(" ");
      if (el.textContent !== text) el.textContent = text;
    }
  }, 500);
}
