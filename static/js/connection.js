// Says when the server cannot be reached, so that nobody takes old figures for live ones, and tells
// the rest of the page when it answers again.
(() => {
  const ASK_EVERY_MS = 5_000;
  const WAIT_MS = 4_000;
  let lastHeardAt = Date.now();
  let strip = null;

  const clock = (at) => new Date(at).toTimeString().slice(0, 5);
  const age = (ms) => (ms < 120_000 ? `${Math.round(ms / 1000)} s` : `${Math.round(ms / 60_000)} min`);

  const show = () => {
    if (!strip?.isConnected) {
      strip = document.getElementById("no-connection").content.firstElementChild.cloneNode(true);
      strip.querySelector("[data-since]").textContent = clock(lastHeardAt);
      document.querySelector("main").prepend(strip);
    }
    strip.querySelector("[data-age]").textContent = age(Date.now() - lastHeardAt);
  };
  document.addEventListener("htmx:after:swap", () => { if (strip && !strip.isConnected) show(); });
  document.addEventListener("server-heard", () => {
    lastHeardAt = Date.now();
    if (!strip) return;
    strip.remove();
    strip = null;
    document.getElementById("live")?.dispatchEvent(new CustomEvent("room-changed"));
  });
  const ask = async () => {
    if (document.hidden) return;
    try {
      const small = document.querySelector("link[rel=icon]").href;
      const headers = { "X-Sent-By": "script" };
      const answer = await fetch(small, { method: "HEAD", cache: "no-store", headers, signal: AbortSignal.timeout(WAIT_MS) });
      serverTime.hear(answer.headers.get("X-Server-Time"));
      document.dispatchEvent(new Event("server-heard"));
    } catch {
      document.dispatchEvent(new Event("server-lost"));
      show();
    }
  };
  setInterval(ask, ASK_EVERY_MS);
  addEventListener("offline", ask);
  addEventListener("online", ask);
  document.addEventListener("server-silent", ask);
  document.addEventListener("visibilitychange", ask);
})();
