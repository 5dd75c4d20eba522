// Large keys for numbers on a touch screen, instead of the system's keyboard. Without a script, or
// with a mouse, the field is a plain one.
(() => {
  if (!matchMedia("(pointer: coarse)").matches) return;
  const KEYS = ["7", "8", "9", "4", "5", "6", "1", "2", "3", "0", ".", "\u232b"];
  let pad = null;
  let field = null;

  const changed = () => field.dispatchEvent(new Event("input", { bubbles: true }));
  const press = (key) => {
    if (key === "\u232b") field.value = field.value.slice(0, -1);
    else if (key !== "." || !/[.,]/.test(field.value)) field.value += key;
    changed();
  };
  const close = () => {
    if (pad) pad.remove();
    pad = null;
    document.body.classList.remove("has-keypad");
  };
  const button = (text, label, act, name) => {
    const made = document.createElement("button");
    made.type = "button";
    made.textContent = text;
    made.setAttribute("aria-label", label);
    if (name) made.className = name;
    made.addEventListener("pointerdown", (event) => event.preventDefault()); // keeps the field's focus
    made.addEventListener("click", act);
    return made;
  };
  const open = () => {
    close();
    pad = document.createElement("div");
    pad.className = "keypad";
    pad.setAttribute("role", "group");
    pad.setAttribute("aria-label", "Number keys");
    for (const key of KEYS) pad.append(button(key, key === "\u232b" ? "Delete the last" : key, () => press(key)));
    pad.append(button("Done", "Close the number keys", () => { field.blur(); close(); }, "keypad-done"));
    document.body.append(pad);
    document.body.classList.add("has-keypad");
    field.scrollIntoView({ block: "center" });
  };

  for (const input of document.querySelectorAll("input[inputmode=decimal]")) {
    input.setAttribute("inputmode", "none");
    input.addEventListener("focus", () => { field = input; open(); });
    input.addEventListener("blur", () => setTimeout(() => { if (document.activeElement !== field) close(); }, 0));
  }
})();
