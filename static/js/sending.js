// Every form that stores, or holds what was typed, is sent by script, so that the page goes on only
// once the server has answered. A form with a key lies in the outbox before it is sent, and is sent by
// itself until it arrives. Without a key, or without a disk, it stays on the screen until then.
(() => {
  const SAY_SO_AFTER_MS = 300;
  const LET_GO_AFTER_MS = 4_000; // of what waits behind others, or for another page's sender
  const MANY = 5; // that wait before it
  const BY_ITSELF_FOR_MS = 180_000; // of what is not kept
  const UNSENT = "Not sent. Your entry is still here.";
  const UNREAD = "Stored. The next page does not load.";
  const NO_PAGE = "No connection. This page stays as it is.";
  const UNKEPT = "This tablet has no room to keep it: leave this page open.";
  const WHEN_BACK = "It is sent automatically once the connection is back.";
  const ONE_ONLY = "Send this first, or leave it.";

  let open = null; // the one form that is being sent, or was not
  let answering = null; // the kept entry that this page shows
  let shownAt = location.pathname + location.search;
  let isLeaving = false;
  let isSilent = false;

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
    say("sending", open.busy || `Sending …${percent ? ` ${percent} %` : ""}`);
  };
  const release = () => {
    main().inert = false;
    if (open?.focus && document.activeElement === document.body) open.focus.focus({ preventScroll: true });
  };
  const sayUnsent = (why) => {
    open.isSending = false;
    open.wasUnsent = true;
    release();
    const more = [why, open.isUnkept && UNKEPT, canRepeatByItself() && WHEN_BACK];
    say("unsent", open.failed || UNSENT, more.filter(Boolean).join(" "), open.failed ? ["load", "close"] : ["again", "leave"]);
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
    const url = new URL(given("action") || shownAt, location.href);
    if (given("method").toUpperCase() !== "POST") {
      url.search = new URLSearchParams(entries);
      return { method: "GET", url, files: 0 };
    }
    const isMultipart = given("enctype") === "multipart/form-data";
    const fields = [...entries].map(([name, value]) => [name, value instanceof File ? value : value.replace(/\r?\n/g, "\r\n")]);
    const entry = { url: url.pathname + url.search, fields, isMultipart, by: person(), touched: serverTime.touch() };
    return { ...courier.requestOf(entry), entry };
  };
  const person = () => document.querySelector(".who")?.dataset.person ?? "";
  const room = () => new RegExp(`^${sitePath}/rooms/([^/]+)/`).exec(location.pathname + "/")?.[1];
  const plain = (text) => (text || "").trim().replace(/\s+/g, " ");
  const inWords = (field) => {
    const label = field.labels?.[0];
    if (["radio", "checkbox"].includes(field.type)) return plain(label?.textContent);
    const value = field.files ? [...field.files].map((file) => file.name).join(" ") : field.selectedOptions?.[0]?.text || field.value;
    return `${plain(label?.firstChild.textContent)}: ${plain(value)}`;
  };
  // What it says, for the list of what waits.
  const words = (form, button) => {
    const title = plain(document.querySelector("h1")?.textContent) || document.title;
    const typed = [...form.elements].filter((one) => one.name && one.name !== "by" && !["hidden", "submit", "fieldset"].includes(one.type) && one.value?.trim())
      .filter((one) => !["radio", "checkbox"].includes(one.type) || one.checked)
      .map(inWords);
    return { title, typed: typed.length ? typed : [plain(button?.textContent)] };
  };

  // ---- sending it

  const canRepeatByItself = () => open && !open.isSending && !open.isEdited && open.hasKey
    && Date.now() - open.since < BY_ITSELF_FOR_MS;
  const bundles = (page) => [...page.querySelectorAll("head link[rel=stylesheet], head script[src]:not([data-is-brought])")]
    .map((one) => one.getAttribute("href") || one.getAttribute("src")).join();

  const follow = async (address) => {
    Object.assign(open, { busy: "Stored. Loading the page …", failed: UNREAD, isStored: true });
    open.request = { method: "GET", url: new URL(address, location.href), files: 0 };
    await attempt();
  };
  const attempt = async () => {
    const mine = open;
    mine.isSending = true;
    mine.isSlow ||= mine.wasUnsent;
    saySending();
    const timer = setTimeout(() => { mine.isSlow = true; saySending(); }, SAY_SO_AFTER_MS);
    const answer = await courier.ask(mine.request, saySending);
    clearTimeout(timer);
    if (answer.isAway) document.dispatchEvent(new Event("server-silent"));
    if (answer.isAway) return (mine.isLink && (await showAhead(mine.request.url))) || sayUnsent(courier.lead(courier.pageOf(answer.text)));
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
    const page = courier.pageOf(answer.text);
    const isError = page.body.classList.contains("error-page");
    if (isError && !open.isStored) return sayRefused(courier.lead(page));
    if (bundles(page) !== bundles(document) && request.method === "GET") {
      isLeaving = true; // the server is newer than this page
      location.assign(request.url);
      return;
    }
    await turnTo(answer.text, answer.url, { hash: request.url.hash });
  };
  const turnTo = async (text, address, { hash = "", entry = null } = {}) => {
    const url = new URL(address, location.href);
    url.hash = hash;
    open = null;
    answering = entry; // before the page can be touched
    document.activeElement?.blur();
    if (url.pathname + url.search === shownAt) history.replaceState(null, "", url);
    else history.pushState(null, "", url);
    shownAt = url.pathname + url.search;
    scrollTo(0, 0);
    await htmx.swap({ text, target: document.body, swap: "outerSync", sourceElement: document.body });
    const place = hash && document.getElementById(hash.slice(1));
    if (place) place.scrollIntoView();
    else if (!document.querySelector("#problems, #doubts, [autofocus]")) main().focus({ preventScroll: true });
  };
  const send = (isByItself) => {
    open.isByItself = isByItself;
    if (open.isEdited && !open.isStored && open.form.isConnected) open.request = read(open.form, open.button);
    open.isEdited = false;
    attempt();
  };

  // ---- by way of the outbox

  const isAsSent = (one, other) => one.url === other.url && JSON.stringify(one.fields) === JSON.stringify(other.fields)
    && ![...one.fields, ...other.fields].some(([, value]) => value instanceof File && value.size);
  // The entry as it lies on the disk; nothing where it could not be put there.
  const keep = async ({ form, button, request }) => {
    const key = form.elements.submission.value;
    const before = open.kept?.key === key ? await outbox.get(open.kept.id) : null;
    if (before && isAsSent(before, request.entry)) return before;
    const shown = answering?.url === request.entry.url ? answering : null;
    const entry = {
      ...request.entry, key, state: "waiting", tries: 0, isChanged: before?.tries > 0,
      page: shownAt, room: room(), roomName: document.querySelector(".room-name").textContent,
      ...words(form, button), ...(shown && { touched: shown.touched, by: shown.by }),
    };
    open.wasShown = shown !== null;
    entry.id = await outbox.keep(entry);
    for (const old of [before, shown]) if (old) await outbox.drop(old.id);
    return entry;
  };
  const goByOutbox = async () => {
    const mine = open;
    mine.isSending = true;
    const timer = setTimeout(() => { mine.isSlow = true; saySending(); }, SAY_SO_AFTER_MS);
    try {
      mine.kept = await keep(mine);
    } catch {
      clearTimeout(timer);
      mine.isUnkept = true;
      return attempt();
    }
    mine.timers = [timer, setTimeout(() => letGo(mine), LET_GO_AFTER_MS)];
    outbox.tell({ what: "new" });
    courier.run(mine.kept.id);
    if (isSilent || (await outbox.counts()).waiting > MANY) letGo(mine);
  };
  // It lies on the disk: whoever entered it goes on.
  const letGo = (mine) => {
    if (open !== mine || !mine.isSending) return;
    mine.isSending = false;
    mine.wasLetGo = true;
    mine.timers.forEach(clearTimeout);
    courier.unwatch();
    release();
    say("", "");
    document.dispatchEvent(new CustomEvent("kept", { detail: { entry: mine.kept } }));
    if (!mine.form.isConnected || !mine.form.matches("[data-another]:not(:has(#doubts, #problems))")) return;
    mine.form.reset();
    mine.form.elements.submission.value = outbox.newKey();
    open = null;
  };
  const NEWS = {
    progress: (mine, { percent }) => { clearTimeout(mine.timers[1]); saySending(percent); },
    stored: (mine, { next }) => {
      const isLeft = mine.wasLetGo && (mine.isEdited || !mine.form.isConnected);
      if (isLeft) open = null;
      else return follow(next);
    },
    asks: async (mine, { id }) => {
      if (mine.wasLetGo) return; // it comes back by the list of what is kept
      const entry = await outbox.get(id);
      if (!mine.wasShown) await outbox.drop(id); // it stands on the page, as it does without a disk
      outbox.tell({ what: "shown" });
      if (!entry.html) return sayRefused(entry.words);
      await turnTo(entry.html, entry.url, { entry: mine.wasShown ? entry : null });
    },
  };
  document.addEventListener("outbox", ({ detail }) => {
    const mine = open;
    if (!mine?.kept || mine.isStored) return;
    if (detail.what === "away") letGo(mine); // whichever entry it was that found nobody
    if (open !== mine) return;
    if (detail.id !== mine.kept.id) return;
    if (detail.what !== "progress") mine.timers.forEach(clearTimeout);
    NEWS[detail.what]?.(mine, detail);
  });
  document.addEventListener("show-page", ({ detail }) => turnTo(detail.text, detail.url, { entry: detail.entry ?? null }));

  // ---- touches

  addEventListener("submit", (event) => {
    const form = event.target;
    if (event.defaultPrevented || !form.matches("form[method=post]:not([data-plain]), form[data-once]:not([data-plain])")) return;
    event.preventDefault();
    if (open?.isSending) return;
    if (open?.isLink || (open?.kept && open.form !== form)) close(); // it waits on the disk
    if (open && open.form !== form) {
      say("unsent", open.failed || UNSENT, ONE_ONLY, open.failed ? ["load", "close"] : ["again", "leave"]);
      strip().querySelector("button:not([hidden])").focus();
      return;
    }
    const request = read(form, event.submitter);
    const hasKey = request.method === "GET" || Boolean(form.elements.submission?.value);
    open = {
      form, request, hasKey, button: event.submitter, since: Date.now(), kept: open?.kept,
      wasUnsent: open !== null && !open.kept, isStored: false, isByItself: false,
    };
    if (request.entry && hasKey && room()) goByOutbox();
    else attempt();
  });
  document.addEventListener("click", (event) => {
    const act = event.target.closest?.("#sending button")?.dataset.act;
    if (["again", "load"].includes(act) && open && !open.isSending) send(false);
    else if (act === "leave" || act === "close") close();
  });
  document.addEventListener("input", () => { if (open) open.isEdited = true; });
  document.addEventListener("server-heard", () => {
    isSilent = false;
    if (open?.wasUnsent && !open.isLink && canRepeatByItself()) send(true);
  });
  document.addEventListener("server-lost", () => { isSilent = true; });
  // What was fetched ahead, where the server does not answer.
  const showAhead = async (href) => {
    const text = await copies.page(href);
    if (!text) return false;
    close();
    await turnTo(text, href);
    return true;
  };
  // In a gap a link would bring the browser's own page in place of this one.
  const go = async (link) => {
    if (!isSilent && !copies.isAt(link.href)) return location.assign(link.href);
    if (open?.isSending || (open && !open.kept && !open.isLink)) return;
    if (isSilent && (await showAhead(link.href))) return;
    const request = { method: "GET", url: new URL(link.href), files: 0 };
    open = { request, isLink: true, isStored: true, busy: "Loading the page …", failed: NO_PAGE };
    attempt();
  };
  // "It is the same: leave it". The page goes on only once it is left: a page that goes takes with
  // it what the database of the tablet has not finished.
  document.addEventListener("click", async (event) => {
    const link = event.target.closest?.("#doubts a[href]");
    if (!answering || !link || event.defaultPrevented) return;
    event.preventDefault();
    const { id } = answering;
    answering = null;
    await outbox.drop(id);
    outbox.tell({ what: "left", id });
    go(link);
  });
  document.addEventListener("click", (event) => {
    const link = event.target.closest?.("a[href]");
    const isPlain = !event.defaultPrevented && event.button === 0 && !event.ctrlKey && !event.metaKey && !event.shiftKey;
    if (!link || !isPlain || !(isSilent || copies.isAt(link.href)) || link.target || link.origin !== location.origin || link.getAttribute("href").startsWith("#")) return;
    event.preventDefault();
    go(link);
  });
  addEventListener("popstate", () => {
    if (location.pathname + location.search === shownAt) return;
    if (!isSilent) location.reload();
    else copies.page(location.href).then((text) => (text ? turnTo(text, location.href) : history.pushState(null, "", shownAt)));
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
    if (isChanged || (open && !open.isStored && !open.kept)) event.preventDefault();
  });
})();
