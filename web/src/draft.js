// Keeps what is typed into a long form, so that a power cut loses nothing: some
// moments after the last change the program gets the values and answers what
// the criteria say of them.
const PAUSE = 500; // ms without a change

export function startDraft(form) {
  const state = document.getElementById("draft-state");
  const box = document.getElementById("proposal");
  let timer = 0, asked = 0, done = false, waiting = false;

  async function keep(last) {
    clearTimeout(timer);
    if (done || !waiting) return;
    waiting = false;
    const turn = ++asked;
    try {
      const answer = await fetch(form.dataset.draft, { method: "POST", body: new URLSearchParams(new FormData(form)), headers: { Accept: "application/json" }, credentials: "same-origin", keepalive: last });
      const got = answer.headers.get("Content-Type")?.startsWith("application/json") ? await answer.json() : {};
      if (!answer.ok) throw new Error(got.error?.what || "the program answered " + answer.status);
      if (turn !== asked || done) return;
      state.classList.remove("warn");
      state.textContent = got.recorded ? "This inspection was recorded already." : "Draft kept at " + got.kept_at + ". It is not recorded before you save it.";
      show(got);
    } catch (err) {
      if (turn !== asked || done) return;
      waiting = true;
      state.classList.add("warn");
      state.textContent = "▲ The draft is not kept: " + (err.message || "no answer") + ". Leave this page open; it tries again.";
      timer = setTimeout(keep, 3000);
    }
  }

  function show(got) {
    const tone = ["plain", "ok", "warn", "bad"][got.level] || "plain";
    const status = document.createElement("span");
    status.className = "status " + tone;
    const shape = document.createElement("span");
    shape.className = "shape";
    shape.setAttribute("aria-hidden", "true");
    shape.textContent = { ok: "●", warn: "▲", bad: "■", plain: "○" }[tone];
    status.append(shape, "\u00a0" + got.state);
    const line = document.createElement("p");
    line.append(status);
    const parts = [line];
    if (got.why?.length) {
      const list = document.createElement("ul");
      for (const text of got.why) list.append(Object.assign(document.createElement("li"), { textContent: text }));
      parts.push(list);
    }
    if (got.open?.length) parts.push(Object.assign(document.createElement("p"), { className: "muted", textContent: "Not looked at yet: " + got.open.join("; ") + "." }));
    box.replaceChildren(...parts);
  }

  const changed = () => { waiting = true; clearTimeout(timer); timer = setTimeout(keep, PAUSE); };
  form.addEventListener("input", changed);
  form.addEventListener("change", changed);
  form.addEventListener("submit", () => { done = true; clearTimeout(timer); });
  addEventListener("pageshow", () => { done = false; });
  document.addEventListener("visibilitychange", () => { if (document.hidden) keep(true); });
  addEventListener("pagehide", () => keep(true));
}
