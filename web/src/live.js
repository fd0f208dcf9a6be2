// Keeps a page fresh: fetches it again and exchanges only the parts that
// changed. It never touches a part the reader is working in or has typed into, and
// when there is no answer it says since when, so that an old page does not look
// current.
export function startLive(root) {
  const seconds = Number(root && root.dataset.refresh);
  if (!seconds) return;
  const stale = document.getElementById("stale");
  let heard = new Date();
  let timer = 0;
  const again = (ms = seconds * 1000) => { clearTimeout(timer); timer = setTimeout(tick, ms); };

  async function tick() {
    if (document.hidden || busy(root)) { again(); return; }
    try {
      const answer = await fetch(location.href, { headers: { Accept: "text/html" }, credentials: "same-origin", cache: "no-store" });
      if (!answer.ok) throw new Error(String(answer.status));
      const next = new DOMParser().parseFromString(await answer.text(), "text/html").getElementById("live");
      if (!next) throw new Error("not the same page");
      const waited = document.getElementById("wait") !== null;
      const held = !busy(root) && exchange(root, next);
      if (waited && !document.getElementById("wait")) tellResult();
      heard = new Date();
      stale.hidden = !held;
      if (held) stale.textContent = "▲ There is something new on this page. What you typed is kept and not sent yet: send it, or load the page again.";
    } catch {
      const ago = Math.round((Date.now() - heard) / 1000);
      const age = ago < 120 ? ago + " s" : Math.round(ago / 60) + " min";
      stale.textContent = "▲ No answer from Thudbook since " + heard.toTimeString().slice(0, 8) + " (" + age + " ago). What you see may be old. Nothing is lost: shots are taken in as soon as it runs.";
      stale.hidden = false;
    }
    again();
  }
  document.addEventListener("visibilitychange", () => { if (!document.hidden) again(0); });
  again();
}

function busy(root) {
  const a = document.activeElement;
  const selection = String(getSelection() || "");
  return root.contains(a) && a.closest("form, details, .scroll, a, button") !== null || selection !== "";
}

// tellResult leads to the result that was waited for, and tells a screen reader.
function tellResult() {
  const heading = document.getElementById("h-result");
  if (!heading) return;
  document.getElementById("told").textContent = "The result has come: " + heading.textContent;
  heading.focus();
}

// exchange says whether parts are there that it cannot show for what was typed.
function exchange(root, next) {
  const now = [...root.children], then = [...next.children];
  if (now.length !== then.length) {
    if (typedInto(root)) return true;
    root.replaceChildren(...then);
    return false;
  }
  now.forEach((el, i) => renew(el, then[i]));
  return false;
}

// renew exchanges the smallest parts that differ, so that what is the same keeps
// the focus; a heading that has it hands it to the one in its place.
function renew(el, next) {
  if (el.isEqualNode(next) || typedInto(el)) return;
  if (el.children.length && el.children.length === next.children.length && el.cloneNode(false).isEqualNode(next.cloneNode(false)) && ownText(el) === ownText(next)) {
    const then = [...next.children];
    [...el.children].forEach((child, i) => renew(child, then[i]));
    return;
  }
  const focused = el === document.activeElement && el.id === next.id;
  el.replaceWith(next);
  if (focused) next.focus({ preventScroll: true });
}

function ownText(el) {
  return [...el.childNodes].filter((n) => n.nodeType === Node.TEXT_NODE).map((n) => n.data).join("\0");
}

// typedInto says whether a field of a part is not as the page brought it.
function typedInto(el) {
  return [...el.querySelectorAll("input, textarea, select")].some((f) => {
    if (f.type === "hidden") return false;
    if (f.type === "checkbox" || f.type === "radio") return f.checked !== f.defaultChecked;
    if (f.tagName !== "SELECT") return f.value !== f.defaultValue;
    const brought = [...f.options].findIndex((o) => o.defaultSelected);
    return f.selectedIndex !== Math.max(brought, f.options.length ? 0 : -1);
  });
}
