// What other devices save comes onto the page without disturbing who works at it: never under a
// finger, into a field that is being filled in or over a question, and a fold stays as it was left.
(() => {
  const SETTLED_MS = 350; // a touch is over: its click has come
  const LIVE = "[hx-trigger*='room-changed']";
  const FIELDS = "input:not([type=hidden], [type=checkbox], [type=radio]), select, textarea";
  let fingers = 0;
  let isHeldBack = false;
  let held = null; // what was looked at, and where it stood

  // A question that stands unanswered holds an entry that is stored nowhere else.
  const asks = (part) => part.querySelector("#doubts, #problems") !== null;
  const isBusyIn = (part) => fingers > 0 || asks(part) || (document.activeElement?.matches(FIELDS) && part.contains(document.activeElement));
  const catchUp = () => {
    const part = document.querySelector(LIVE);
    if (!isHeldBack || (part && isBusyIn(part))) return;
    isHeldBack = false;
    document.getElementById("live")?.dispatchEvent(new CustomEvent("room-changed"));
  };
  const lift = () => setTimeout(() => {
    fingers = Math.max(0, fingers - 1);
    catchUp();
  }, SETTLED_MS);
  document.addEventListener("pointerdown", () => { fingers += 1; }, true);
  document.addEventListener("pointerup", lift, true);
  document.addEventListener("pointercancel", lift, true);
  document.addEventListener("focusout", () => setTimeout(catchUp, SETTLED_MS));

  document.addEventListener("htmx:before:swap", (event) => {
    const source = event.detail?.ctx?.sourceElement;
    if (!source?.matches?.(LIVE)) return;
    if (isBusyIn(source)) {
      event.preventDefault();
      isHeldBack = true;
      return;
    }
    const focused = source.contains(document.activeElement) && document.activeElement;
    const anchor = scrollY > 0 && (focused || document.elementFromPoint(innerWidth / 2, innerHeight / 2));
    held = anchor ? { anchor, top: anchor.getBoundingClientRect().top } : null;
  });
  document.addEventListener("htmx:after:swap", () => {
    if (held?.anchor.isConnected) scrollBy({ top: held.anchor.getBoundingClientRect().top - held.top, behavior: "instant" });
    held = null;
  });

  // What has just come under a finger that was on its way is not what it was meant for.
  const changed = new WeakMap();
  htmx.registerExtension("calm", {
    htmx_before_morph_attr: (place, { attrName }) => {
      if (["href", "action"].includes(attrName)) changed.set(place, performance.now());
      return !(attrName === "open" && place.matches("details"));
    },
  });
  document.addEventListener("click", (event) => {
    const meant = event.target.closest?.("a[href], form");
    if (!meant || performance.now() - (changed.get(meant) ?? -Infinity) > SETTLED_MS) return;
    event.preventDefault();
    event.stopPropagation();
  }, true);

  // A page that nobody touches for weeks takes up what the server has become.
  document.addEventListener("htmx:after:swap", () => {
    const wall = document.querySelector("[data-version]");
    const begun = document.documentElement.dataset.begun ??= wall?.dataset.version ?? "";
    if (wall && begun && wall.dataset.version !== begun) location.reload();
  });
})();
