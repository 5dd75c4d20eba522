// A page that is made for paper has a button that prints it; without a script the browser's own menu does.
(() => {
  const show = () => document.querySelectorAll("[data-print][hidden]").forEach((one) => { one.hidden = false; });
  show();
  document.addEventListener("DOMContentLoaded", show);
  document.addEventListener("htmx:after:swap", show);
  document.addEventListener("click", (event) => {
    if (event.target.closest?.("[data-print]")) print();
  });
})();
