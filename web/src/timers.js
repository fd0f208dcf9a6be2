function words(seconds) {
  const s = Math.max(0, seconds);
  const parts = s < 3600 ? [Math.floor(s / 60) + " min", (s % 60) + " s"] : [Math.floor(s / 3600) + " h", Math.floor(s / 60) % 60 + " min"];
  return parts.join(" ");
}

function say(el, text) {
  if (el.textContent === text) return false;
  el.textContent = text;
  return true;
}

// Counts down to what is marked with data-until, and counts up the ages of
// what is marked with data-since. Without it they stand as
// they were when the page was made.
export function startTimers() {
  setInterval(() => {
    for (const el of document.querySelectorAll("[data-since]")) {
      say(el, words(Math.floor((Date.now() - Date.parse(el.dataset.since)) / 1000)));
    }
    for (const el of document.querySelectorAll("[data-until]")) {
      const left = Math.ceil((Date.parse(el.dataset.until) - Date.now()) / 1000), [shape, text] = el.children;
      if (left > 0) {
        say(text, el.dataset.before.replace("{}", words(left)));
      } else if (say(text, el.dataset.after)) {
        el.className = "status " + el.dataset.tone;
        shape.textContent = el.dataset.shape;
      }
    }
  }, 500);
}
