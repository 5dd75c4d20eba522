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
  document.addEventListener("click", (event) => {
    const key = event.target.closest?.("[data-pin-key]");
    if (!key) return;
    const field = document.querySelector("[data-pin]");
    field.value = key.dataset.pinKey ? (field.value + key.dataset.pinKey).slice(0, 8) : field.value.slice(0, -1);
  });
  ready();
  document.addEventListener("htmx:after:swap", ready);
})();
