// A keypad for gloves: its keys type into the PIN's field.
export function startKeypad(pad) {
  const field = document.getElementById(pad.dataset.keypad);
  if (!field) return;
  pad.hidden = false;
  pad.addEventListener("click", (e) => {
    const key = e.target.closest("button[type=button]");
    if (!key) return;
    if (key.value === "back") field.value = field.value.slice(0, -1);
    else if (field.value.length < 12) field.value += key.textContent;
  });
  const wait = document.getElementById("pin-wait");
  if (wait) countDown(wait, [field, ...field.form.querySelectorAll("button")], field); else field.focus();
}

// countDown says how long no PIN is taken, and opens the field when that is over.
// The clock of the page counts, so a tab that slept is right when it wakes.
function countDown(wait, inputs, field) {
  const end = performance.now() + Number(wait.dataset.wait);
  const box = wait.closest("[role=status]");
  box.setAttribute("aria-live", "off"); // not each second is read out
  for (const e of inputs) e.disabled = true;
  const tick = () => {
    const left = Math.ceil((end - performance.now()) / 1000);
    if (left > 0) {
      wait.textContent = "Wait " + left + (left === 1 ? " second" : " seconds") + ", then try again.";
      setTimeout(tick, 250);
      return;
    }
    box.setAttribute("aria-live", "polite");
    wait.textContent = "Try again now.";
    for (const e of inputs) e.disabled = false;
    field.focus();
  };
  tick();
}
