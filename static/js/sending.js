// Every form that stores, or holds what was typed, is sent by script, so that the page goes on only
// once the server has answered. Until then what was typed stays on the screen; what did not arrive is
// sent again with the same key, so that an answer lost on the way counts no entry twice.
(() => {
  const PATIENCE_MS = 8_000; // without an answer, or without a byte of a file going out
  const SAY_SO_AFTER_MS = 300;
  const BY_ITSELF_FOR_MS = 180_000; // later, "now" on the form is no longer when it happened
  const AWAY = [0, 502, 503, 504];
  const UNSENT = "Not sent. Your entry is still here.";
  const UNREAD = "Stored. The page after it does not come.";
  const WHEN_BACK = "It is sent by itself when the connection is back.";
  const ONE_ONLY = "Send this first, or leave it.";

  let open = null; // the one form that is being sent, or was not
  let shownAt = location.pathname + location.search;
  let isLeaving = false;

  // ---- the strip that says how it stands

  const strip = () => document.getElementById("sending");
  const say = (state, word, why = "", choices = []) => {
    const place = strip();
    place.hidden = !state;
    place.dataset.state = state;
    place.querySelector("[data-word]").textContent = word;
    place.querySelector("[data-why]").textContent = why;
    for (const button of place.querySelectorAll("button")) button.hidden = !choices.includes(button.dataset.act);
  };
  const main = () => document.querySelector("main");
  const saySending = (percent) => {
    if (!open?.isSlow || open.isByItself) return;
    open.focus ??= document.activeElement;
    main().inert = true;
    say("sending", open.isStored ? "Stored. Loading the page …" : `Sending …${percent ? ` ${percent} %` : ""}`);
  };
  const release = () => {
    main().inert = false;
    if (open?.focus && document.activeElement === document.body) open.focus.focus({ preventScroll: true });
  };
  const sayUnsent = (why) => {
    open.isSending = false;
    open.wasUnsent = true;
    release();
    const more = canRepeatByItself() ? WHEN_BACK : "";
    say("unsent", open.isStored ? UNREAD : UNSENT, [why, more].filter(Boolean).join(" "), open.isStored ? ["load"] : ["again", "leave"]);
    document.dispatchEvent(new Event("server-silent"));
  };
  const sayRefused = (why) => {
    release();
    open = null;
    say("unsent", "Not stored.", why, ["close"]);
  };
  const close = () => {
    release();
    open = null;
    say("", "");
  };

  // ---- what a form says

  const read = (form, button) => {
    const given = (name) => button?.getAttribute(`form${name}`) || form.getAttribute(name) || "";
    const entries = new FormData(form, button?.form === form ? button : null);
    const isLeftOut = button?.name && button.type !== "image" && !entries.has(button.name);
    if (isLeftOut) entries.append(button.name, button.value); // a browser that knows no submitter
    const method = given("method").toUpperCase() === "POST" ? "POST" : "GET";
    const url = new URL(given("action") || shownAt, location.href);
    if (method === "GET") {
      url.search = new URLSearchParams(entries);
      return { method, url, files: 0 };
    }
    if (given("enctype") === "multipart/form-data") {
      const files = [...entries.values()].filter((value) => value instanceof File && value.size);
      return { method, url, files: files.length, body: entries };
    }
    const lines = [...entries].map(([name, value]) => [name, value.replace(/\r?\n/g, "\r\n")]);
    return { method, url, files: 0, body: new URLSearchParams(lines) };
  };

  // An older way than fetch, because it tells how far a file has gone out.
  const ask = ({ method, url, body, files }, onProgress) => new Promise((resolve) => {
    const request = new XMLHttpRequest();
    let timer;
    const wait = (times = 1) => {
      clearTimeout(timer);
      timer = setTimeout(() => request.abort(), times * PATIENCE_MS);
    };
    request.open(method, url);
    request.setRequestHeader("X-Sent-By", "script");
    request.setRequestHeader("Accept", "text/html");
    request.upload.onprogress = (event) => {
      wait();
      if (event.lengthComputable && files) onProgress(Math.round((100 * event.loaded) / event.total));
    };
    request.upload.onload = () => wait(1 + files); // each photo is looked at before the answer
    request.onloadend = () => {
      clearTimeout(timer);
      resolve({ status: request.status, text: request.responseText, read: (name) => request.getResponseHeader(name), url: request.responseURL });
    };
    wait();
    request.send(body);
  });

  // ---- sending it

  const canRepeatByItself = () => open && !open.isSending && !open.isEdited && open.hasKey
    && Date.now() - open.since < BY_ITSELF_FOR_MS;
  const pageOf = (answer) => new DOMParser().parseFromString(answer.text, "text/html");
  const words = (page) => page.querySelector("main .lead")?.textContent.trim() || "";
  const bundles = (page) => [...page.querySelectorAll("head link[rel=stylesheet], head script[src]")]
    .map((one) => one.getAttribute("href") || one.getAttribute("src")).join();

  const follow = async (address) => {
    open.isStored = true;
    open.request = { method: "GET", url: new URL(address, location.href), files: 0 };
    await attempt();
  };
  const attempt = async () => {
    const mine = open;
    mine.isSending = true;
    mine.isSlow ||= mine.wasUnsent;
    saySending();
    const timer = setTimeout(() => { mine.isSlow = true; saySending(); }, SAY_SO_AFTER_MS);
    const answer = await ask(mine.request, saySending);
    clearTimeout(timer);
    if (AWAY.includes(answer.status)) return sayUnsent(words(pageOf(answer)));
    document.dispatchEvent(new Event("server-heard"));
    const next = answer.read("X-Go-On-At");
    return next ? follow(next) : show(mine.request, answer);
  };
  const show = async (request, answer) => {
    const type = answer.read("Content-Type") || "";
    if (!type.startsWith("text/html")) {
      close();
      if (answer.status < 400) location.assign(request.url); // a file to keep: the page stays
      return;
    }
    const page = pageOf(answer);
    const isError = page.body.classList.contains("error-page");
    if (isError && !open.isStored) return sayRefused(words(page));
    if (bundles(page) !== bundles(document) && request.method === "GET") {
      isLeaving = true; // the server is newer than this page
      location.assign(request.url);
      return;
    }
    await turnTo(answer, request.url.hash);
  };
  const turnTo = async (answer, hash) => {
    const url = new URL(answer.url);
    url.hash = hash;
    open = null;
    document.activeElement?.blur();
    if (url.pathname + url.search === shownAt) history.replaceState(null, "", url);
    else history.pushState(null, "", url);
    shownAt = url.pathname + url.search;
    scrollTo(0, 0);
    await htmx.swap({ text: answer.text, target: document.body, swap: "outerSync", sourceElement: document.body });
    const place = hash && document.getElementById(hash.slice(1));
    if (place) place.scrollIntoView();
    else if (!document.querySelector("#problems, #doubts, [autofocus]")) main().focus({ preventScroll: true });
  };
  const send = (isByItself) => {
    open.isByItself = isByItself;
    if (open.isEdited && open.form.isConnected) open.request = read(open.form, open.button);
    open.isEdited = false;
    attempt();
  };

  addEventListener("submit", (event) => {
    const form = event.target;
    if (event.defaultPrevented || !form.matches("form[method=post], form[data-once]")) return;
    event.preventDefault();
    if (open?.isSending) return;
    if (open && open.form !== form) {
      say("unsent", open.isStored ? UNREAD : UNSENT, ONE_ONLY, open.isStored ? ["load"] : ["again", "leave"]);
      strip().querySelector("button:not([hidden])").focus();
      return;
    }
    const request = read(form, event.submitter);
    const hasKey = request.method === "GET" || Boolean(form.elements.submission?.value);
    open = {
      form, request, hasKey, button: event.submitter, since: Date.now(),
      wasUnsent: open !== null, isStored: false, isByItself: false,
    };
    attempt();
  });
  document.addEventListener("click", (event) => {
    const act = event.target.closest?.("#sending button")?.dataset.act;
    if (["again", "load"].includes(act) && open && !open.isSending) send(false);
    else if (act === "leave" || act === "close") close();
  });
  document.addEventListener("input", () => { if (open) open.isEdited = true; });
  document.addEventListener("server-heard", () => { if (open?.wasUnsent && canRepeatByItself()) send(true); });
  addEventListener("popstate", () => {
    if (location.pathname + location.search !== shownAt) location.reload();
  });

  // ---- what is not stored yet is not left without a word

  const changed = new WeakSet();
  document.addEventListener("input", (event) => {
    const form = event.target.closest?.("form[data-warns]");
    if (form) changed.add(form);
  });
  addEventListener("beforeunload", (event) => {
    if (isLeaving) return;
    const isChanged = [...document.querySelectorAll("form[data-warns]")].some((form) => changed.has(form));
    if (isChanged || (open && !open.isStored)) event.preventDefault();
  });
})();
