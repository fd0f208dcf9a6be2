// Keys for the whole page, and a guard against sending a form twice.
export function startKeys() {
  document.addEventListener("keydown", (e) => {
    if (e.ctrlKey || e.metaKey || e.altKey || e.target.closest("input, select, textarea")) return;
    const link = { "[": "previous-shot", "]": "next-shot" }[e.key];
    const a = link && document.getElementById(link);
    if (a) { e.preventDefault(); a.click(); }
  });
  document.addEventListener("submit", (e) => {
    if (e.target.method !== "post") return;
    if (e.target.dataset.sent) { e.preventDefault(); return; }
    e.target.dataset.sent = "yes";
  });
  addEventListener("pageshow", () => { for (const f of document.forms) delete f.dataset.sent; });
}
