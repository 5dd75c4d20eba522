// Says when the server cannot be reached, so that nobody takes old figures for live ones, and keeps
// a form from being sent into the void: what was typed stays where it is.
(() => {
  const ASK_EVERY_MS = 5_000;
  const WAIT_MS = 4_000;
  const pattern = document.getElementById("no-connection");
  if (!pattern) return;
  let lastHeardAt = Date.now();
  let strip = null;

  const clock = (at) => new Date(at).toTimeString().slice(0, 5);
  const age = (ms) => (ms < 120_000 ? `${Math.round(ms / 1000)} s` : `${Math.round(ms / 60_000)} min`);

  const show = () => {
    if (!strip) {
      strip = pattern.content.firstElementChild.cloneNode(true);
      strip.querySelector("[data-since]").textContent = clock(lastHeardAt);
      document.querySelector("main").prepend(strip);
    }
    strip.querySelector("[data-age]").textContent = age(Date.now() - lastHeardAt);
  };
  const heard = () => {
    lastHeardAt = Date.now();
    if (!strip) return;
    strip.remove();
    strip = null;
    document.getElementById("live")?.dispatchEvent(new CustomEvent("room-changed"));
  };
  const ask = async () => {
    if (document.hidden) return;
    try {
      await fetch("/static/icon.svg", { method: "HEAD", cache: "no-store", signal: AbortSignal.timeout(WAIT_MS) });
      heard();
    } catch {
      show();
    }
  };
  setInterval(ask, ASK_EVERY_MS);
  addEventListener("offline", ask);
  addEventListener("online", ask);
  document.addEventListener("visibilitychange", ask);

  document.addEventListener("submit", (event) => {
    if (!strip) return;
    event.preventDefault();
    event.stopImmediatePropagation();
    strip.querySelector("[data-kept]").hidden = false;
    strip.scrollIntoView({ block: "nearest" });
  }, true);
})();

// The menu closes with Escape, and when something else is touched.
(() => {
  const menu = document.querySelector("details.menu");
  if (!menu) return;
  document.addEventListener("keydown", (event) => {
    if (event.key !== "Escape" || !menu.open) return;
    menu.open = false;
    menu.querySelector("summary").focus();
  });
  document.addEventListener("click", (event) => {
    if (!menu.contains(event.target)) menu.open = false;
  });
})();
