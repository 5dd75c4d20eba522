// A new room begins with the time zone of the device that sets it up.
(() => {
  const fill = () => {
    const field = document.querySelector("[data-zone-of-device] input:not([data-is-filled])");
    if (!field) return;
    field.dataset.isFilled = "";
    const zone = Intl.DateTimeFormat().resolvedOptions().timeZone;
    const said = document.querySelector("[data-zone-said]");
    const say = () => { if (said) said.textContent = field.value; };
    field.addEventListener("input", say);
    if (zone && field.value === field.defaultValue) field.value = zone;
    say();
  };
  fill();
  document.addEventListener("htmx:after:swap", fill);
})();
