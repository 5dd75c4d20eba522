// One touch, one action. The server counts a form once by its token all the same; this spares the
// waiting, and the doubt of who sees nothing happen.
(() => {
  const REPEAT_MS = 400;
  const GIVE_UP_MS = 10_000;
  const release = (form) => {
    delete form.dataset.sent;
    for (const button of form.querySelectorAll("button[data-waiting]")) {
      button.disabled = false;
      delete button.dataset.waiting;
    }
  };

  // A wet finger touches twice: the second touch of the same button does nothing. Keys that are meant
  // to be touched in a row are let through.
  let last = { button: null, at: -Infinity };
  document.addEventListener("click", (event) => {
    const button = event.target.closest?.("button, a.button");
    if (!button || button.closest("[data-stepper], .keypad")) return;
    const isRepeat = button === last.button && event.timeStamp - last.at < REPEAT_MS;
    last = { button, at: event.timeStamp };
    if (isRepeat) {
      event.preventDefault();
      event.stopPropagation();
    }
  }, true);

  document.addEventListener("submit", (event) => {
    const form = event.target;
    if (!form.matches("[data-once]")) return;
    if (form.dataset.sent) {
      event.preventDefault();
      return;
    }
    form.dataset.sent = "yes";
    const button = event.submitter;
    setTimeout(() => {
      if (!button) return;
      button.dataset.waiting = "";
      button.disabled = true;
    }, 0);
    setTimeout(() => release(form), GIVE_UP_MS); // no answer: it may be sent again, with the same token
  });

  // What was typed and not taken over yet is lost with the page: ask before it goes.
  const changed = new WeakSet();
  document.addEventListener("input", (event) => {
    const form = event.target.closest?.("form[data-warns]");
    if (form) changed.add(form);
  });
  addEventListener("beforeunload", (event) => {
    const forms = document.querySelectorAll("form[data-warns]:not([data-sent])");
    if ([...forms].some((form) => changed.has(form))) event.preventDefault();
  });

  // Coming back to a page that the browser kept: its forms can be sent again.
  addEventListener("pageshow", () => document.querySelectorAll("form[data-sent]").forEach(release));

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
  retireToasts();
  document.addEventListener("htmx:after:swap", retireToasts);

  // What does not fit is in view at once.
  const problems = document.getElementById("problems") || document.getElementById("doubts");
  problems?.scrollIntoView({ block: "center" });

  // The clock of the page goes on between two refreshes.
  const clock = document.querySelector("time.clock");
  if (!clock) return;
  const loadedAt = Date.now();
  const [hours, minutes] = clock.textContent.trim().split(":").map(Number);
  const second = new Date(clock.getAttribute("datetime")).getUTCSeconds();
  setInterval(() => {
    const passed = Math.floor((Date.now() - loadedAt) / 1000 + second);
    const total = (hours * 60 + minutes + Math.floor(passed / 60)) % 1440;
    clock.textContent = `${String(Math.floor(total / 60)).padStart(2, "0")}:${String(total % 60).padStart(2, "0")}`;
  }, 5000);
})();
