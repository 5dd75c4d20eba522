// The theme of this device: what was chosen here, which the server writes into each page; otherwise
// what the system prefers.
(() => {
  const root = document.documentElement;
  const KEPT_S = 366 * 24 * 3600;
  document.addEventListener("click", (event) => {
    if (!event.target.closest?.("[data-theme-switch]")) return;
    const isDark = root.dataset.theme
      ? root.dataset.theme === "dark"
      : matchMedia("(prefers-color-scheme: dark)").matches;
    root.dataset.theme = isDark ? "light" : "dark";
    document.cookie = `theme=${root.dataset.theme}; path=/; max-age=${KEPT_S}; samesite=strict`;
  });
  const show = () => {
    for (const button of document.querySelectorAll("[data-theme-switch][hidden]")) button.hidden = false;
  };
  show();
  document.addEventListener("htmx:after:swap", show);
})();
