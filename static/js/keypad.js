// Large keys for figures on a touch screen, instead of the system's keyboard, and the steppers' keys.
// Without a script every field is a plain one. Listens at the document, so that parts of a page that
// arrive later work too.
(() => {
  const DELETE = "delete";
  const KEYS = ["7", "8", "9", "4", "5", "6", "1", "2", "3", ".", "0", DELETE];
  const FIGURE = "input[inputmode=decimal], input[data-keypad]";
  let pad = null;
  let field = null;

  const changed = (input) => {
    input.dispatchEvent(new Event("input", { bubbles: true }));
    input.dispatchEvent(new Event("change", { bubbles: true }));
  };
  const isWhollyChosen = () => field.value && field.selectionStart === 0 && field.selectionEnd === field.value.length;
  const press = (key) => {
    if (isWhollyChosen()) field.value = key === DELETE ? "" : key; // what stands there is overwritten
    else if (key === DELETE) field.value = field.value.slice(0, -1);
    else if (key !== "." || !/[.,]/.test(field.value)) field.value += key;
    changed(field);
  };
  const close = () => {
    pad?.remove();
    pad = null;
    document.body.classList.remove("has-keypad");
  };
  const drawDelete = () => { // the font has no such sign
    const svg = document.createElementNS("http://www.w3.org/2000/svg", "svg");
    const path = document.createElementNS("http://www.w3.org/2000/svg", "path");
    svg.setAttribute("class", "icon");
    svg.setAttribute("viewBox", "0 0 24 24");
    svg.setAttribute("aria-hidden", "true");
    path.setAttribute("d", "M8 4h14v16H8L1.5 12ZM11 8.5l7 7m0-7-7 7");
    svg.append(path);
    return svg;
  };
  const makeButton = (text, label, act, name) => {
    const button = document.createElement("button");
    button.type = "button";
    button.append(text === DELETE ? drawDelete() : text);
    button.setAttribute("aria-label", label);
    if (name) button.className = name;
    button.addEventListener("pointerdown", (event) => event.preventDefault()); // keeps the field's focus
    button.addEventListener("click", act);
    return button;
  };
  // The keys' own Save is the form's large button, which a keypad may cover; where more is to be
  // filled in, the browser says so at the field.
  const primary = () => [...(field.form?.elements ?? [])].find((one) => one.matches("button.primary:not([type=button])"));
  const save = () => {
    const button = primary();
    field.blur();
    close();
    button?.click();
  };
  const open = () => {
    if (!pad) {
      pad = document.createElement("div");
      pad.className = "keypad";
      pad.setAttribute("role", "group");
      pad.setAttribute("aria-label", "Number keys");
      for (const key of KEYS) {
        pad.append(makeButton(key, key === DELETE ? "Delete the last" : key, () => press(key), key === DELETE ? "keypad-delete" : ""));
      }
      pad.append(makeButton("Done", "Close the number keys", () => { field.blur(); close(); }, "keypad-close"));
      pad.append(makeButton("Save", "Save", save, "keypad-done"));
      document.body.append(pad);
      document.body.classList.add("has-keypad");
    }
    pad.querySelector(".keypad-done").hidden = !primary();
    field.scrollIntoView({ block: "center" });
  };

  if (matchMedia("(pointer: coarse)").matches) {
    document.addEventListener("focusin", (event) => {
      if (!event.target.matches(FIGURE)) return;
      field = event.target;
      field.dataset.keypad = "";
      field.setAttribute("inputmode", "none");
      open();
    });
    document.addEventListener("focusout", () => setTimeout(() => {
      if (pad && document.activeElement !== field && !pad.contains(document.activeElement)) close();
    }, 0));
    // The first touch tells the system which keyboard to bring, so it is told before the focus.
    document.addEventListener("pointerdown", (event) => {
      if (event.target.matches?.(FIGURE)) {
        event.target.dataset.keypad = "";
        event.target.setAttribute("inputmode", "none");
      }
    });
  }

  const decimals = (text) => (text.split(/[.,]/)[1] || "").length;
  const stepBy = (button) => {
    const input = button.closest("[data-stepper]").querySelector("input");
    const { lowest = "-Infinity", highest = "Infinity" } = input.dataset;
    const places = Math.max(decimals(input.value), decimals(button.dataset.step));
    const next = (Number(input.value.replace(",", ".")) || 0) + Number(button.dataset.step);
    input.value = Math.min(Math.max(next, Number(lowest)), Number(highest)).toFixed(places);
    changed(input);
  };
  document.addEventListener("click", (event) => {
    const button = event.target.closest?.("[data-step]");
    if (button) stepBy(button);
  });
  const showSteps = () => {
    for (const button of document.querySelectorAll("[data-step][hidden]")) button.hidden = false;
  };
  // A form that puts an entry right begins at its figure, chosen whole: the first key overwrites it.
  const beginOverwriting = () => {
    const form = document.querySelector("form[data-overwrites]:not([data-is-begun])");
    if (!form) return;
    form.dataset.isBegun = "";
    const figure = [...form.querySelectorAll("input[inputmode=decimal]")].find((one) => one.value);
    figure?.focus();
    figure?.select();
  };
  showSteps();
  beginOverwriting();
  document.addEventListener("htmx:after:swap", () => {
    showSteps();
    if (pad && !pad.isConnected) close();
    beginOverwriting();
  });
})();
