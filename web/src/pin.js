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
  field.focus();
}
