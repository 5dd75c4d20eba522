// A form is sent once: a second touch while it is under way is ignored. The server would count it
// once all the same; this spares the waiting.
document.addEventListener("submit", (event) => {
  const form = event.target;
  if (!form.matches("[data-once]")) return;
  if (form.dataset.sent) {
    event.preventDefault();
    return;
  }
  form.dataset.sent = "yes";
  const button = event.submitter;
  setTimeout(() => { if (button) button.disabled = true; }, 0);
});

// Coming back to a page that the browser kept: its forms can be sent again.
addEventListener("pageshow", () => {
  for (const form of document.querySelectorAll("form[data-once]")) {
    delete form.dataset.sent;
    for (const button of form.querySelectorAll("button")) button.disabled = false;
  }
});

// The offer to undo goes away after a while; the entry can still be withdrawn from the log.
const toast = document.querySelector("[data-toast-seconds]");
if (toast) setTimeout(() => toast.remove(), 1000 * Number(toast.dataset.toastSeconds));

// What does not fit is read out and in view at once.
const problems = document.getElementById("problems") || document.getElementById("doubts");
if (problems) problems.scrollIntoView({ block: "center" });

// The clock of the page goes on between two refreshes.
const clock = document.querySelector("time.clock");
if (clock) {
  const loadedAt = Date.now();
  const [hours, minutes] = clock.textContent.trim().split(":").map(Number);
  const second = new Date(clock.getAttribute("datetime")).getUTCSeconds();
  setInterval(() => {
    const passed = Math.floor((Date.now() - loadedAt) / 1000 + second);
    const total = (hours * 60 + minutes + Math.floor(passed / 60)) % 1440;
    clock.textContent = `${String(Math.floor(total / 60)).padStart(2, "0")}:${String(total % 60).padStart(2, "0")}`;
  }, 5000);
}
