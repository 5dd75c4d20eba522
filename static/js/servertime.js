// What time it is by the server's clock: the device's own may be wrong by a day. The server says its
// time with each page and answer; from then on the page counts, on a clock that nobody sets. That one
// stands still while a tablet sleeps, so the device's is counted with, and compared when the server
// is heard again.
const serverTime = (() => {
  const AGREE_MS = 60_000;
  let heard = null;
  let pageSaid = "";
  let lastAt = 0;

  const hear = (text) => {
    const server = Date.parse(text || "");
    if (server) heard = { server, steady: performance.now(), wall: Date.now() };
  };
  const hearPage = () => {
    const said = document.querySelector("time.clock")?.getAttribute("datetime") || "";
    if (said === pageSaid) return; // a part of the page came, not a page
    pageSaid = said;
    hear(said);
  };
  const now = () => (heard ? heard.server + performance.now() - heard.steady : null);

  // A touch as it is kept: when it was by either clock, and what the server said before it.
  const touch = () => {
    if (!heard) return null;
    lastAt = Math.max(lastAt + 1, now());
    return { at: lastAt, byDevice: heard.server + Date.now() - heard.wall, heard, page: performance.timeOrigin };
  };
  // When a touch was: a time; "unheard" while only the server could say; "asks" where nobody can.
  const settle = (touched) => {
    if (!touched || touched.byDevice - touched.at <= AGREE_MS) return touched && touched.at;
    const before = touched.heard;
    if (!heard || heard.server === before.server) return "unheard";
    const since = (clock) => Math.abs(heard[clock] - before[clock] - (heard.server - before.server));
    if (touched.page === performance.timeOrigin && since("steady") <= AGREE_MS) return touched.at; // the device's was set
    return since("wall") <= AGREE_MS ? touched.byDevice : "asks"; // it slept, or nobody knows
  };
  // In the room's own time.
  const zone = () => document.querySelector("time.clock")?.dataset.zone;
  const parts = (ms, options) => new Intl.DateTimeFormat("en-GB", { timeZone: zone(), ...options }).format(ms);
  const words = (ms) => {
    const day = { day: "numeric", month: "short" };
    const clock = parts(ms, { hour: "2-digit", minute: "2-digit" });
    return parts(ms, day) === parts(now() ?? Date.now(), day) ? clock : `${parts(ms, { weekday: "short", ...day })}, ${clock}`;
  };
  // As a field of day and time has it.
  const typed = (ms) => new Intl.DateTimeFormat("sv-SE", { timeZone: zone(), dateStyle: "short", timeStyle: "medium" })
    .format(ms).replace(" ", "T");

  hearPage();
  document.addEventListener("htmx:after:swap", hearPage);
  return { hear, now, touch, settle, words, typed };
})();
