// How much of the foot of the screen is taken by what is kept or being sent: a bar of actions stands
// above it, and what has the focus scrolls clear of both.
(() => {
  const measured = new ResizeObserver(() => {
    const strips = document.querySelector(".foot-strips");
    document.documentElement.style.setProperty("--foot", `${strips ? strips.offsetHeight : 0}px`);
  });
  const watch = () => {
    const strips = document.querySelector(".foot-strips");
    if (strips) measured.observe(strips);
  };
  watch();
  document.addEventListener("htmx:after:swap", watch);
})();
