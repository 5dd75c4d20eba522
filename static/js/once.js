// One touch, one action; what a page shows for a while; its clock. All of it holds for a page that
// was loaded and for one, or a part of one, that came in its place.
(() => {
  const REPEAT_MS = 400;

  // A wet finger touches twice: the second touch of the same button does nothing, nor does it answer
  // the question that has come in the meantime. Keys that are meant to be touched in a row are let
  // through.
  let last = { button: null, at: -Infinity };
  document.addEventListener("click", (event) => {
    const button = event.target.closest?.("button, a.button");
    if (!button || button.closest("[data-stepper], .keypad")) return;
    const isSecond = event.timeStamp - last.at < REPEAT_MS && (button === last.button || button.closest("#doubts"));
    last = { button, at: event.timeStamp };
    if (isSecond) {
      event.preventDefault();
      event.stopPropagation();
    }
  }, true);

  // The offer to undo goes away after a while, but not under a finger or the focus; the entry can
  // still be withdrawn from the log.
  const retire = (toast, seconds) => setTimeout(() => {
    if (toast.matches(":hover, :focus-within")) retire(toast, 2);
    else toast.remove();
  }, 1000 * seconds);
  const retireToasts = () => {
    for (const toast of document.querySelectorAll("[data-toast-seconds]:not([data-is-timed])")) {
      toast.dataset.isTimed = "";
      const seconds = Number(toast.dataset.toastSeconds);
      if (seconds > 0) retire(toast, seconds);
    }
  };

  // What does not fit is in view at once.
  const showProblems = () => {
    const problems = document.querySelector("#problems:not([data-is-shown]), #doubts:not([data-is-shown])");
    if (!problems) return;
    problems.dataset.isShown = "";
    problems.scrollIntoView({ block: "center" });
    problems.focus({ preventScroll: true });
  };

  // A question is about what stood there: whoever changes it has answered, and saves as usual.
  const FIELDS = "input:not([type=hidden]), select, textarea";
  const unask = (form) => form?.querySelector("#doubts")?.remove();
  document.addEventListener("input", (event) => unask(event.target.closest("form")));
  document.addEventListener("click", (event) => {
    const button = event.target.closest?.("#doubts [value=change]");
    const field = button && [...button.form.querySelectorAll(FIELDS)].find((one) => one.value && one.type !== "radio");
    if (!field || event.defaultPrevented) return;
    event.preventDefault();
    unask(button.form);
    field.focus();
    field.scrollIntoView({ block: "center" });
  });

  // The clock of the page goes on between two refreshes.
  let clock = null;
  let startedAt = 0;
  let startedAtS = 0;
  const tick = () => {
    if (!clock) return;
    const total = Math.floor((startedAtS + (Date.now() - startedAt) / 1000) / 60) % 1440;
    clock.textContent = `${String(Math.floor(total / 60)).padStart(2, "0")}:${String(total % 60).padStart(2, "0")}`;
  };
  const startClock = () => {
    const found = document.querySelector("time.clock");
    if (found === clock) return;
    clock = found;
    if (!clock) return;
    const [hours, minutes] = clock.textContent.trim().split(":").map(Number);
    startedAt = Date.now();
    startedAtS = 3600 * hours + 60 * minutes + new Date(clock.getAttribute("datetime")).getUTCSeconds();
  };
  setInterval(tick, 5000);

  const begin = () => {
    retireToasts();
    showProblems();
    startClock();
  };
  begin();
  document.addEventListener("htmx:after:swap", begin);
})();
