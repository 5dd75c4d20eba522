// The theme of this device: what was chosen here, otherwise what the system prefers.
(() => {
  const root = document.documentElement;
  const read = () => { try { return localStorage.getItem("theme"); } catch { return null; } };
  const chosen = read();
  if (chosen === "dark" || chosen === "light") root.dataset.theme = chosen;
  document.addEventListener("DOMContentLoaded", () => {
    for (const button of document.querySelectorAll("[data-theme-switch]")) {
      button.hidden = false;
      button.addEventListener("click", () => {
        const isDark = root.dataset.theme
          ? root.dataset.theme === "dark"
          : matchMedia("(prefers-color-scheme: dark)").matches;
        root.dataset.theme = isDark ? "light" : "dark";
        try { localStorage.setItem("theme", root.dataset.theme); } catch { /* not kept */ }
      });
    }
  });
})();
