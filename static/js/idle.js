// Shows the tiles on a tablet that was left alone, when the server would ask for the PIN again anyway.
// What is typed and not sent stays: the server asks when it is sent, and keeps it.
(() => {
  const LOOK_EVERY_MS = 5_000;
  let touchedAt = Date.now();
  let isTyping = false;
  for (const kind of ["pointerdown", "keydown"]) document.addEventListener(kind, () => { touchedAt = Date.now(); });
  document.addEventListener("input", () => { isTyping = true; });
  document.addEventListener("htmx:after:swap", (event) => { if (event.target === document.body) isTyping = false; });
  setInterval(() => {
    const who = document.querySelector(".who[data-idle-s]");
    if (who && !isTyping && Date.now() - touchedAt > 1000 * Number(who.dataset.idleS)) location.assign(who.href);
  }, LOOK_EVERY_MS);
})();
