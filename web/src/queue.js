// Keeps photos that were chosen or taken on this device until the program has
// confirmed that it stored them, by their SHA-256. They lie in the browser's own
// database, so that a reload, a browser that ends, or a program that does not
// answer loses none. Nothing is sent twice: the same bytes for the same shot are
// one photo here, and one there.
const STORE = "waiting";
const FIRST = 2000, MOST = 60000; // ms between tries
const REFUSED = [400, 404, 413, 422]; // trying again would not help

export async function startQueue() {
  if (!window.indexedDB || !window.crypto?.subtle) return; // the plain form serves
  let db;
  try { db = await opened(); } catch { return; }
  const box = document.createElement("div");
  box.id = "queue";
  box.hidden = true;
  document.getElementById("main")?.prepend(box);
  let wait = FIRST, timer = 0, why = "", large = "", busy = false, link = "", drawn = "", before = 0;
  const here = new Set();

  for (const form of document.querySelectorAll("form[data-photos]")) {
    here.add(form.dataset.photos);
    const input = form.querySelector("input[type=file]");
    input?.addEventListener("change", () => take(form, input));
  }
  addEventListener("online", now);
  addEventListener("pageshow", now);
  document.addEventListener("visibilitychange", () => { if (!document.hidden) now(); });
  await show();
  now();

  function now() { wait = FIRST; clearTimeout(timer); return send(); }

  async function take(form, input) {
    const files = [...input.files], most = Number(form.dataset.most);
    large = files.filter((f) => f.size > most).map((f) => f.name + " is larger than what is taken and is not kept. Save it smaller. ").join("");
    try {
      for (const file of files) {
        if (file.size > most) continue;
        const bytes = await file.arrayBuffer();
        const sha256 = [...new Uint8Array(await crypto.subtle.digest("SHA-256", bytes))].map((b) => b.toString(16).padStart(2, "0")).join("");
        const action = form.dataset.photos;
        await put(db, { key: action + " " + sha256, action, of: form.dataset.of, inspection: form.elements.inspection?.value || "", name: file.name, sha256, photo: new Blob([bytes], { type: file.type }) });
      }
    } catch (err) {
      say("This browser cannot keep photos here (" + err.message + "). Send them with the button below the choice.", []);
      return; // the choice stays in the form
    }
    input.value = "";
    navigator.storage?.persist?.();
    await show();
    now();
  }

  // One tab sends at a time; another one looks again later.
  async function send() {
    if (busy) return;
    busy = true;
    try {
      const work = (lock) => lock && round();
      if (navigator.locks) await navigator.locks.request("thudbook-photos", { ifAvailable: true }, work); else await round();
    } finally { busy = false; }
    const left = await show();
    if (left.some((p) => !p.refused)) {
      clearTimeout(timer);
      timer = setTimeout(send, wait);
      wait = Math.min(MOST, wait * 2);
    }
  }

  async function round() {
    let sent = 0;
    for (const p of await all(db)) {
      if (p.refused) continue;
      link = "";
      const fault = await one(p);
      if (!fault) { sent++; why = ""; await drop(db, p.key); await show(); continue; }
      if (REFUSED.includes(fault.status)) { await put(db, { ...p, refused: fault.text }); continue; }
      why = fault.text;
      if (fault.status === 401) link = "/people";
      break;
    }
    if (sent) wait = FIRST;
  }

  async function one(p) {
    const body = new FormData();
    body.append("sha256", p.sha256); // before the file: it is compared as the bytes come
    if (p.inspection) body.append("inspection", p.inspection);
    body.append("photo", p.photo, p.name);
    try {
      const answer = await fetch(p.action, { method: "POST", body, headers: { Accept: "application/json" }, credentials: "same-origin" });
      const got = answer.headers.get("Content-Type")?.startsWith("application/json") ? await answer.json() : {};
      if (answer.ok && got.photos?.some((x) => x.sha256 === p.sha256)) return null;
      const e = got.error;
      return { status: answer.ok ? 0 : answer.status, text: e ? e.what + " " + (e.fix || "") : "The agent answered " + answer.status + "." };
    } catch { return { status: 0, text: "The agent does not answer. Leave this page open, or come back to it later." }; }
  }

  // show says on the page what waits and why.
  async function show() {
    const left = await all(db);
    const mine = left.filter((p) => here.has(p.action)).length;
    if (mine < before) refresh(); // whichever tab sent it
    before = mine;
    const refused = left.filter((p) => p.refused), n = left.length - refused.length;
    const head = large + (n === 0 ? "" : (n === 1 ? "1 photo waits" : n + " photos wait") + " on this device until the agent has stored " + (n === 1 ? "it. " : "them. ") + why) + refusal(refused.length);
    say(head, refused);
    return left;
  }

  function say(text, refused) {
    box.hidden = !text;
    const key = text + link + refused.map((p) => p.key);
    if (key === drawn) return;
    drawn = key;
    const note = Object.assign(document.createElement("div"), { className: "notice warn" });
    note.setAttribute("role", "status");
    const shape = Object.assign(document.createElement("span"), { className: "shape", textContent: "▲" });
    shape.setAttribute("aria-hidden", "true");
    const words = document.createElement("div");
    words.append(line(text));
    for (const p of refused) {
      const row = line(p.name + ", " + p.of + ": " + p.refused + " ");
      row.append(button("Delete it here", async () => { await drop(db, p.key); show(); }));
      words.append(row);
    }
    const row = Object.assign(document.createElement("p"), { className: "actions" });
    row.append(button(refused.length ? "Try again" : "Send now", async () => {
      for (const p of await all(db)) if (p.refused) await put(db, { ...p, refused: "" });
      now();
    }));
    if (link) row.append(Object.assign(document.createElement("a"), { className: "button", href: link + "?next=" + encodeURIComponent(location.pathname), textContent: "Sign in" }));
    words.append(row);
    note.append(shape, words);
    box.replaceChildren(note);
  }
}

// refresh shows on the page what has been stored, and leaves the rest alone.
async function refresh() {
  const section = document.getElementById("photos");
  if (!section) return;
  try {
    const answer = await fetch(location.href, { headers: { Accept: "text/html" }, cache: "no-store" });
    const next = new DOMParser().parseFromString(await answer.text(), "text/html").querySelector("#photos > .photos");
    const have = section.querySelector(":scope > .photos, :scope > .empty");
    if (next && have) have.replaceWith(next); else if (next) section.append(next);
  } catch { /* it is stored; the next page shows it */ }
}

// refusal says that photos do not wait any more, since they are not what is taken.
function refusal(n) {
  return n === 0 ? "" : n === 1 ? "1 file was refused and was not stored. It is not sent again by itself. " : n + " files were refused and were not stored. They are not sent again by themselves. ";
}

function line(text) { return Object.assign(document.createElement("p"), { textContent: text }); }

function button(text, act) {
  const b = Object.assign(document.createElement("button"), { type: "button", textContent: text });
  b.addEventListener("click", act);
  return b;
}

function opened() {
  const ask = indexedDB.open("thudbook-photos", 1);
  ask.onupgradeneeded = () => ask.result.createObjectStore(STORE, { keyPath: "key" });
  return answered(ask);
}

function answered(ask) {
  return new Promise((done, failed) => { ask.onsuccess = () => done(ask.result); ask.onerror = () => failed(ask.error); });
}

function all(db) { return answered(db.transaction(STORE).objectStore(STORE).getAll()); }

// put and drop are done when the browser says that the change is on the disk.
function put(db, photo) { return change(db, (s) => s.put(photo)); }
function drop(db, key) { return change(db, (s) => s.delete(key)); }

function change(db, act) {
  return new Promise((done, failed) => {
    const tx = db.transaction(STORE, "readwrite", { durability: "strict" });
    act(tx.objectStore(STORE));
    tx.oncomplete = () => done();
    tx.onerror = tx.onabort = () => failed(tx.error || new Error("no room"));
  });
}
