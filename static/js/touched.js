// What is touched in a form with data-touched is kept at once, a field at a time, so that a reload or
// the way back loses nothing; the form itself is sent as ever.
(() => {
  const AFTER_MS = 400;
  const isChosen = (type) => ["radio", "checkbox", "select-one"].includes(type);
  const unkept = new Map(); // what the server does not have yet, by field
  let timer = 0;

  const keep = async (form) => {
    for (const [name, value] of unkept) {
      const over = form.elements.over?.value ?? "";
      try {
        const answer = await fetch(form.dataset.touched, {
          method: "POST", body: new URLSearchParams({ name, value, over }), keepalive: true,
        });
        if (answer.status >= 500) throw new Error(answer.statusText);
        if (unkept.get(name) === value) unkept.delete(name);
      } catch {
        break; // tried again with the next touch, and when the connection is back
      }
    }
    const notice = form.querySelector("[data-not-kept]");
    if (notice) notice.hidden = unkept.size === 0;
  };
  const form = () => document.querySelector("form[data-touched]");
  const touch = (event) => {
    const { name, value, type, checked, form: of } = event.target;
    if (!of?.dataset?.touched || !name || name.startsWith("by") || name.startsWith("view_")) return;
    if (["file", "hidden"].includes(type)) return;
    unkept.set(name, type === "checkbox" && !checked ? "" : value);
    clearTimeout(timer);
    if (isChosen(type)) keep(of);
    else timer = setTimeout(() => keep(of), AFTER_MS);
  };
  document.addEventListener("change", touch);
  document.addEventListener("input", (event) => isChosen(event.target.type) || touch(event));
  // What is sent needs no keeping; what is not taken comes back in the form.
  document.addEventListener("submit", (event) => {
    if (!event.target.dataset.touched) return;
    clearTimeout(timer);
    unkept.clear();
  });
  addEventListener("online", () => form() && keep(form()));
  addEventListener("pagehide", () => form() && unkept.size && keep(form()));
})();
