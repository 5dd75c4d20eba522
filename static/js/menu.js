// The menu closes with Escape, and when something else is touched. A slash opens it to find something.
(() => {
  const menu = () => document.querySelector("details.menu[open]");
  document.addEventListener("keydown", (event) => {
    const open = event.key === "Escape" && menu();
    if (!open) return;
    open.open = false;
    open.querySelector("summary").focus();
  });
  document.addEventListener("keydown", (event) => {
    const closed = document.querySelector("details.menu");
    if (event.key !== "/" || event.ctrlKey || event.altKey || event.metaKey || !closed) return;
    if (event.target.closest("input, select, textarea, [contenteditable]")) return;
    event.preventDefault();
    closed.open = true;
    closed.querySelector("input[type=search]").focus();
  });
  document.addEventListener("click", (event) => {
    const open = menu();
    if (open && !open.contains(event.target)) open.open = false;
  });
})();
