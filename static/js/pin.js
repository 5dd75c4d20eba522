// Large keys for a PIN. Without a script the field is a plain one with the system's number keys.
(() => {
  const ready = () => {
    const keys = document.querySelector("[data-pin-keys][hidden]");
    if (!keys) return;
    keys.hidden = false;
    document.querySelector("[data-pin-plain]").hidden = true;
    const field = document.querySelector("[data-pin]");
    if (matchMedia("(pointer: coarse)").matches) field.setAttribute("inputmode", "none");
  };
  const press = (event) => {
    const key = event.target.closest?.("[data-pin-key]");
    if (!key) return;
    event.preventDefault(); // keeps the field's focus
    const field = document.querySelector("[data-pin]");
    field.value = key.dataset.pinKey ? (field.value + key.dataset.pinKey).slice(0, 8) : field.value.slice(0, -1);
  };
  // At the touch itself: of two quick ones on one key, as in 55, a browser may make one click.
  document.addEventListener("pointerdown", press);
  document.addEventListener("click", (event) => { if (event.detail === 0) press(event); }); // Enter, a screen reader
  ready();
  document.addEventListener("htmx:after:swap", ready);
})();
