// The colours of this device: what was chosen here, which the server writes into each page;
// otherwise what the system prefers.
(() => {
  const root = document.documentElement;
  const KEPT_S = 366 * 24 * 3600;
  const current = () => root.dataset.theme
    ?? (matchMedia("(prefers-color-scheme: dark)").matches ? "dark"
      : matchMedia("(prefers-contrast: more)").matches ? "sun" : "light");
  const show = () => {
    for (const group of document.querySelectorAll("[data-themes]")) group.hidden = false;
    for (const button of document.querySelectorAll("[data-theme-choice]")) {
      button.setAttribute("aria-pressed", String(button.dataset.themeChoice === current()));
    }
  };
  document.addEventListener("click", (event) => {
    const chosen = event.target.closest?.("[data-theme-choice]")?.dataset.themeChoice;
    if (!chosen) return;
    root.dataset.theme = chosen;
    document.cookie = `theme=${chosen}; path=${sitePath}/; max-age=${KEPT_S}; samesite=strict`;
    show();
  });
  show();
  document.addEventListener("htmx:after:swap", show);
})();
