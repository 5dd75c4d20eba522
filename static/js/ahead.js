// In a swap or an inspection the pages that come next, and those for a problem, lie on the tablet
// before they are needed: without the server a step that is kept leads on to the next. Such a page is
// a copy from before. It says so; what this tablet has kept since is marked on it; and a step that
// must not begin without the server's word waits for it.
const ahead = (() => {
  const { CHAIN, PROBLEM } = copies;
  const NEVER = /view=close|\/(?:paper|record|report|photos)(?=[/?#]|$)/;
  const LINKS = ".rail-steps a, .rail-all, .step-bar a, .looks a, .problem-link, main a[href*='/problem']";
  const AFTER_MS = 1_500;
  const FRESH_MS = 600_000;
  const KEPT_MS = 43_200_000;
  const MOST = 80;

  // ---- the copies

  let opened = null;
  const open = () => {
    opened ??= new Promise((resolve, reject) => {
      const asked = indexedDB.open("ahead", 1);
      asked.onupgradeneeded = () => asked.result.createObjectStore("pages", { keyPath: "url" });
      asked.onsuccess = () => resolve(asked.result);
      asked.onerror = () => reject(asked.error);
    });
    opened.catch(() => { opened = null; });
    return opened;
  };
  const within = async (mode, work) => {
    const change = (await open()).transaction("pages", mode);
    return new Promise((resolve, reject) => {
      const request = work(change.objectStore("pages"));
      change.oncomplete = () => resolve(request?.result);
      change.onabort = () => reject(change.error);
    });
  };
  const prune = () => within("readwrite", (store) => {
    store.openCursor().onsuccess = ({ target: { result: found } }) => {
      if (!found) return;
      const age = Date.now() - found.value.at;
      if (age > KEPT_MS || age < 0) found.delete();
      found.continue();
    };
  });
  const addressOf = (href) => {
    const url = new URL(href, location.href);
    return url.origin === location.origin ? url.pathname + url.search : "";
  };
  const chainOf = (address) => CHAIN.exec(address)?.[0];
  const isSwap = (chain) => chain.endsWith("/swap"); // its address alone is whatever comes next
  const here = () => chainOf(location.pathname);
  const who = () => document.querySelector(".who");
  const person = () => who()?.dataset.person ?? "";
  const isAt = (href) => (Boolean(here()) || PROBLEM.test(location.pathname)) && ((here() && chainOf(addressOf(href)) === here()) || PROBLEM.test(addressOf(href)));

  // ---- fetched while there is a server

  let isSilent = false;
  let isGathering = false;
  let isAskedAgain = false; // by another page, while the pages of one are fetched
  const wanted = (page) => [...page.querySelectorAll(LINKS)].map((one) => addressOf(one.getAttribute("href")))
    .filter((one) => (chainOf(one) === here() || PROBLEM.test(one)) && !NEVER.test(one));
  const fetched = async (url) => {
    const answer = await courier.ask({ method: "GET", url });
    if (answer.isAway) return null;
    const isPage = answer.status === 200 && !answer.read("X-Go-On-At") && (answer.read("Content-Type") || "").startsWith("text/html");
    if (!isPage) return { url, links: [] };
    const page = courier.pageOf(answer.text);
    const pictures = [...page.querySelectorAll("main img[src]")].map((one) => addressOf(one.getAttribute("src")));
    for (const one of pictures) if (one) fetch(one).catch(() => {});
    const copy = { url, text: answer.text, at: Date.now(), by: person(), links: wanted(page) };
    await within("readwrite", (store) => store.put(copy));
    return copy;
  };
  const gather = async () => {
    const chain = here();
    isAskedAgain = isGathering;
    if (!chain || isGathering || document.hidden || isSilent) return;
    isGathering = true;
    try {
      await prune();
      const queue = [...(isSwap(chain) ? [] : [chain]), ...wanted(document)];
      const seen = new Set();
      while (queue.length && seen.size < MOST && here() === chain && !isSilent) {
        const url = queue.shift();
        if (seen.has(url)) continue;
        seen.add(url);
        const known = await within("readonly", (store) => store.get(url));
        const isFresh = known && Date.now() - known.at < FRESH_MS && known.by === person();
        const copy = isFresh ? known : await fetched(url);
        if (!copy) break;
        queue.push(...copy.links);
      }
    } finally {
      isGathering = false;
      if (isAskedAgain) gatherSoon();
    }
  };
  let timer = 0;
  const gatherSoon = () => {
    clearTimeout(timer);
    timer = setTimeout(() => gather().catch(() => {}), AFTER_MS); // without a disk nothing lies ahead
  };

  // ---- what was done since, by the server's last word and by what waits on this tablet

  const stepOf = (address) => new URL(address, location.href).searchParams.get("step") || /\/parts\/([^/?#]+)/.exec(address)?.[1] || "";
  const keptStep = ({ url }) => /\/steps\/([^/]+)\/tick$/.exec(url)?.[1] || /\/parts\/([^/?#]+)$/.exec(url)?.[1] || "";
  const waiting = async (chain) => (await outbox.some("waiting")).filter((one) => chainOf(one.url) === chain);
  const doneOn = (page) => [...page.querySelectorAll(".rail-done a, .rail-passed a, .looks [data-is-done] a")].map((one) => stepOf(one.getAttribute("href")));
  const listed = (page) => [...page.querySelectorAll(".rail-steps a, .looks a")].map((one) => one.getAttribute("href"));
  const since = new Map(); // what the server was heard to say of a chain
  const hear = () => {
    if (!here() || isCopy()) return;
    const known = since.get(here()) ?? { done: new Set(), list: [] };
    if (document.querySelector(".rail-steps, .looks")) known.done = new Set(doneOn(document)); // an undo too
    if (listed(document).length) known.list = listed(document);
    since.set(here(), known);
  };
  const stateOf = async (chain) => {
    if (!chain) return { done: new Set(), list: [], kept: new Set(), by: person() };
    const entries = await waiting(chain);
    const known = since.get(chain) ?? { done: new Set(), list: [] };
    if (!known.list.length) {
      const copy = await within("readonly", (store) => store.get(chain));
      const page = copy?.text && courier.pageOf(copy.text);
      if (page) Object.assign(known, { done: new Set(doneOn(page)), list: listed(page) });
    }
    const kept = new Set(entries.map(keptStep).filter(Boolean));
    return { ...known, kept, by: entries.at(-1)?.fields.find(([name]) => name === "by")?.[1] || person() };
  };
  const after = ({ list, done, kept }, step) => {
    const place = list.findIndex((one) => stepOf(one) === step);
    return [...list.slice(place + 1), ...list.slice(0, place + 1)].find((one) => !done.has(stepOf(one)) && !kept.has(stepOf(one)));
  };

  // ---- a copy, as it is shown

  const isCopy = () => document.getElementById("copied") !== null;
  const made = (page, name, words, className = "") => Object.assign(page.createElement(name), { textContent: words, className });
  const say = (page, words, isQuiet) => {
    const place = page.querySelector(".swap-body") ?? page.querySelector("main");
    const notice = made(page, "p", words, isQuiet ? "note" : "notice notice-doubt");
    notice.id = "copied";
    notice.setAttribute("role", "status");
    const title = place.querySelector("h1, .tank-title");
    if (title?.parentElement === place) title.after(notice);
    else place.prepend(notice);
  };
  const markKept = (page, { done, kept }, isOld = false) => {
    for (const link of page.querySelectorAll(".rail-steps a, .looks a")) {
      const step = stepOf(link.getAttribute("href"));
      const item = link.closest("li");
      link.querySelector(".kept-mark")?.remove();
      item.classList.toggle("is-kept", kept.has(step) && !done.has(step));
      if (kept.has(step) && !done.has(step)) link.append(made(page, "b", "not sent yet", "kept-mark"));
      if (done.has(step)) item.classList.add("rail-done");
    }
    const unsent = [...kept].filter((step) => !done.has(step)).length;
    page.querySelector(".kept-count")?.remove();
    const count = page.querySelector(".rail-count");
    if (!count) return;
    // A step that is kept is done, for whoever stands at the tank: a copy from before counts it too.
    const steps = page.querySelectorAll(".rail-steps li");
    const behind = [...steps].filter((one) => one.matches(".rail-done, .rail-passed, .is-kept") || done.has(stepOf(one.firstElementChild.getAttribute("href"))));
    if (unsent || isOld) count.textContent = `${behind.length} of ${steps.length} done`;
    if (unsent) count.append(made(page, "b", `, ${unsent} not sent yet`, "kept-count"));
  };
  const wait = (page, words) => {
    const bar = page.querySelector(".step-bar");
    const button = bar?.querySelector("button");
    if (button) {
      button.disabled = true;
      button.classList.add("is-missing");
      button.replaceChildren(made(page, "span", "Wait for the server"));
    }
    return words;
  };
  const settled = (page, state) => {
    const form = page.querySelector("#tick");
    const gates = [...page.querySelectorAll("[data-gate]")];
    for (const gate of gates) {
      const step = gate.dataset.gate;
      if (step && (state.done.has(step) || state.kept.has(step))) gate.remove();
    }
    const shut = page.querySelector("[data-gate]");
    if (form.dataset.mustKnow) return wait(page, `Before this step the server must say ${form.dataset.mustKnow}.`);
    if (shut) return wait(page, "This step needs another one first.");
    const button = page.querySelector(".step-bar button");
    button.classList.remove("is-missing");
    const small = button.querySelector("small");
    if (small) small.textContent = "kept on this tablet, sent later";
    return "";
  };
  const wasKept = (page, form, state, step) => {
    const next = after(state, step);
    form.hidden = true;
    const link = made(page, "a", next ? "Next open step" : "All steps", "button primary");
    link.href = next ?? page.querySelector(".rail-all, .tank-title .meta a")?.getAttribute("href") ?? "#main";
    page.querySelector(".step-bar button")?.replaceWith(link);
    return "This step is kept on this tablet, and not sent yet.";
  };
  const wordsOf = (page, state, address) => {
    const form = page.querySelector("#tick, #look");
    const step = form?.dataset.atStep ?? stepOf(address);
    if (form && state.kept.has(step)) return wasKept(page, form, state, step);
    if (form?.id === "tick") return settled(page, state);
    return "";
  };
  const adapt = async (copy) => {
    const page = courier.pageOf(copy.text);
    const chain = chainOf(copy.url) ?? here();
    const state = await stateOf(chain);
    for (const field of page.querySelectorAll("input[name=submission]")) field.setAttribute("value", outbox.newKey());
    const name = page.querySelector(".who");
    if (name && who()) name.replaceWith(page.importNode(who(), true));
    for (const tile of page.querySelectorAll(".who-tiles input")) tile.toggleAttribute("checked", tile.value === state.by);
    const now = serverTime.now();
    if (now) page.querySelector("time.clock")?.setAttribute("datetime", new Date(now).toISOString());
    markKept(page, state, true);
    const words = wordsOf(page, state, copy.url);
    const isLast = state.kept.size && chainOf(copy.url) && !after(state, "");
    say(page, [`This page is from ${serverTime.words(copy.at)}.`, words, isLast && "All steps are done. Go on once the connection is back."]
      .filter(Boolean).join(" "), !words && !isLast);
    return page.documentElement.outerHTML;
  };
  // The page of an address, as it was fetched before; nothing where it was not, or for somebody else.
  const page = async (href) => {
    try {
      const asked = addressOf(href);
      const address = isSwap(asked) ? after(await stateOf(asked), "") ?? `${asked}?view=all` : asked;
      const copy = await within("readonly", (store) => store.get(address));
      const isAnothers = who()?.matches(`[href^='${sitePath}/sign-in']`) && copy?.by !== person();
      return copy?.text && !isAnothers ? await adapt(copy) : "";
    } catch {
      return "";
    }
  };

  // ---- a reload, while there is no server to load from

  // Plain http has no service worker: a page that the browser itself loads anew without a server is
  // gone until the server is back. The keys that reload show the page anew from this tablet instead,
  // and whoever reloads otherwise is asked first.
  const isReload = ({ key, ctrlKey, metaKey }) => key === "F5" || ((ctrlKey || metaKey) && key.toLowerCase() === "r");
  document.addEventListener("keydown", async (event) => {
    if (!isSilent || !here() || !isReload(event)) return;
    event.preventDefault();
    if (isTouched) return; // what is typed stays
    const text = await page(location.href);
    if (text) show(text, location.pathname + location.search);
  });
  addEventListener("beforeunload", (event) => { if (isSilent && here()) event.preventDefault(); });

  // ---- on from a step that was kept, and back to the server's own pages

  const show = (text, url) => document.dispatchEvent(new CustomEvent("show-page", { detail: { text, url } }));
  let behindLast = ""; // where the last step led to, once it was kept
  document.addEventListener("kept", async ({ detail }) => {
    const chain = detail?.entry && chainOf(detail.entry.url);
    const step = detail?.entry && keptStep(detail.entry);
    if (!chain || !step || chain !== here()) return;
    const state = await stateOf(chain);
    const next = after(state, step);
    const address = next ?? (isSwap(chain) ? `${chain}?view=all` : chain);
    const text = await page(address);
    behindLast = next ? "" : address;
    if (text) show(text, address);
  });
  let isTouched = false;
  document.addEventListener("input", (event) => { if (event.target.closest?.("main")) isTouched = true; });
  const renew = async () => {
    if (!isCopy() || isTouched || isSilent || (await waiting(here())).length) return;
    // Behind the last step the swap's own address says what comes next: how it is completed.
    const shown = location.pathname + location.search;
    const address = shown === behindLast ? here() : shown;
    const answer = await courier.ask({ method: "GET", url: address });
    if (answer.status !== 200 || answer.read("X-Go-On-At") || !isCopy() || isTouched) return;
    show(answer.text, address);
  };
  const markSoon = async () => {
    if (!here()) return;
    const state = await stateOf(here());
    if (!isCopy()) hear();
    markKept(document, { ...state, done: new Set(doneOn(document)) });
  };
  const follow = () => markSoon().then(renew).catch(() => {});
  document.addEventListener("outbox", ({ detail }) => { if (detail.what !== "progress") follow(); });
  document.addEventListener("server-lost", () => { isSilent = true; });
  document.addEventListener("server-heard", () => {
    isSilent = false;
    follow();
  });
  document.addEventListener("htmx:after:swap", ({ target }) => {
    if (target === document.body || target === document) isTouched = false;
    hear();
    follow();
    gatherSoon();
  });
  hear();
  follow();
  gatherSoon();
  return { page, isAt };
})();
