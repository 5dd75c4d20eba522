// The menu closes with Escape, and when something else is touched.
(() => {
  const menu = () => document.querySelector("details.menu[open]");
  document.addEventListener("keydown", (event) => {
    const open = event.key === "Escape" && menu();
    if (!open) return;
    open.open = false;
    open.querySelector("summary").focus();
  });
  document.addEventListener("click", (event) => {
    const open = menu();
    if (open && !open.contains(event.target)) open.open = false;
  });
})();
