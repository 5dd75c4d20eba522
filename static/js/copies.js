// What only swaps, inspections and problems need, the copies of their pages above all, is brought in
// where one of them is open, or where the server is gone and one is asked for.
const copies = (() => {
  const CHAIN = new RegExp(`^${sitePath}/rooms/[^/]+/(?:tanks/[^/]+/swap|inspections/[^/]+)(?=[/?#]|$)`);
  const PROBLEM = new RegExp(`^${sitePath}/rooms/[^/]+/problem(?=[/?#]|$)`);
  const { steps: source } = document.currentScript.dataset;
  let coming = null;
  let brought = null;
  const bring = () => {
    coming ??= new Promise((done) => {
      const script = document.createElement("script");
      script.src = source;
      script.dataset.isBrought = ""; // no sign of a newer server
      script.onload = () => done((brought = ahead));
      script.onerror = () => done((coming = null));
      document.head.append(script);
    });
    return coming;
  };
  const page = async (href) => (await bring())?.page(href) ?? "";
  const isAt = (href) => brought?.isAt(href) ?? false;
  const look = () => { if (CHAIN.test(location.pathname) || PROBLEM.test(location.pathname)) bring(); };
  document.addEventListener("htmx:after:swap", look);
  look();
  return { page, isAt, CHAIN, PROBLEM };
})();
