// Sends: one request at a time, and what the outbox keeps in the order in which it was touched.
const courier = (() => {
  const SHORTLY_MS = 300;
  const REST_MS = 3_000; // after a silence, before it is tried again unasked
  const PATIENCE_MS = 8_000; // without an answer, or without a byte of a file going out
  const AWAY = [0, 401, 408, 425, 429, 502, 503, 504, 507]; // nobody looked at it: later again
  // Steps of one swap or inspection rest on those before them; nothing else here does.
  const CHAIN = new RegExp(`^${sitePath}/rooms/[^/]+/(?:tanks/[^/]+/swap|inspections/[^/]+)(?=/)`);

  // An older way than fetch, because it tells how far a file has gone out.
  const ask = ({ method, url, body, files, headers }, onProgress = () => {}) => new Promise((resolve) => {
    const request = new XMLHttpRequest();
    let timer;
    const wait = (times = 1) => {
      clearTimeout(timer);
      timer = setTimeout(() => request.abort(), times * PATIENCE_MS);
    };
    request.open(method, url);
    for (const [name, value] of Object.entries({ "X-Sent-By": "script", Accept: "text/html", ...headers })) request.setRequestHeader(name, value);
    request.upload.onprogress = (event) => {
      wait();
      if (event.lengthComputable && files) onProgress(Math.round((100 * event.loaded) / event.total));
    };
    request.upload.onload = () => wait(1 + files); // each photo is looked at before the answer
    request.onloadend = () => {
      clearTimeout(timer);
      const read = (name) => request.getResponseHeader(name);
      serverTime.hear(read("X-Server-Time"));
      resolve({ status: request.status, text: request.responseText, read, url: request.responseURL, isAway: AWAY.includes(request.status) });
    };
    wait();
    request.send(body);
  });

  // ---- what a form says, as it can be kept

  const bodyOf = ({ fields, isMultipart }) => {
    if (!isMultipart) return new URLSearchParams(fields);
    const body = new FormData();
    for (const [name, value] of fields) body.append(name, value);
    return body;
  };
  const filesOf = ({ fields }) => fields.filter(([, value]) => value instanceof File && value.size).length;
  const requestOf = (entry, more) => {
    const at = serverTime.settle(entry.touched);
    const touched = { "X-Touched-By": encodeURIComponent(entry.by) };
    if (Number.isFinite(at)) touched["X-Touched-At"] = new Date(at).toISOString();
    return { method: "POST", url: entry.url, files: filesOf(entry), body: bodyOf(entry), headers: { ...touched, ...more } };
  };
  const pageOf = (text) => new DOMParser().parseFromString(text, "text/html");
  const lead = (page) => page.querySelector("main .lead")?.textContent.trim() || "";

  // ---- the round of the one sender

  const chain = (entry) => CHAIN.exec(entry.url)?.[0];
  const bringBack = async ({ id }, why) => {
    const asks = { state: "asks", words: "", html: "" };
    try {
      await outbox.change(id, { ...asks, ...why }, "strict");
    } catch {
      await outbox.change(id, asks); // the disk is full: its form is filled in anew
    }
    outbox.tell({ id, what: "asks" });
  };
  // Whether the server was there to answer.
  const deliver = async (entry) => {
    const when = serverTime.settle(entry.touched);
    if (when === "unheard") return false;
    if (when === "asks") {
      await bringBack(entry, { isWhenAsked: true });
      return true;
    }
    const before = entry.tries && !entry.isChanged ? { "X-Sent-Before": entry.key } : {};
    const request = requestOf(entry, { "X-Sent-By": entry.id === watched ? "script" : "outbox", ...before });
    await outbox.change(entry.id, { tries: entry.tries + 1 });
    const answer = await ask(request, (percent) => outbox.tell({ id: entry.id, what: "progress", percent }));
    if (answer.isAway) {
      document.dispatchEvent(new Event("server-silent"));
      outbox.tell({ id: entry.id, what: "away", words: lead(pageOf(answer.text)) });
      return false;
    }
    document.dispatchEvent(new Event("server-heard"));
    if (answer.status < 400) {
      await outbox.drop(entry.id);
      const next = answer.read("X-Go-On-At") || entry.page;
      outbox.tell({ id: entry.id, what: "stored", next });
      return true;
    }
    const page = pageOf(answer.text);
    const isError = page.body.classList.contains("error-page");
    await bringBack(entry, isError ? { words: lead(page) } : { html: answer.text });
    return true;
  };
  // Where people sign in, what is sent counts as by whoever is: the entry of another waits for its maker.
  const isAnothers = ({ by }) => {
    const who = document.querySelector(`.who[href^='${sitePath}/sign-in']`);
    return who !== null && who.dataset.person !== by;
  };
  const round = async () => {
    const asking = await outbox.some("asks");
    const stopped = new Set(asking.map(chain).filter(Boolean));
    for (const id of await outbox.ids("waiting")) {
      if (!(await outbox.lease())) return true;
      const entry = await outbox.get(id);
      if (entry?.state !== "waiting" || isAnothers(entry) || stopped.has(chain(entry))) continue;
      if (!(await deliver(entry))) return false;
      if (chain(entry) && (await outbox.get(id))) stopped.add(chain(entry));
    }
    return true;
  };

  let running = null;
  let isAskedAgain = false;
  let restsUntil = 0;
  let watched = null;
  const rounds = async () => {
    while (isAskedAgain) {
      isAskedAgain = false;
      if (!(await outbox.lease())) {
        if (watched) setTimeout(() => run(watched), SHORTLY_MS); // another page is at it
        return;
      }
      if (!(await round())) restsUntil = performance.now() + REST_MS;
    }
    await outbox.release();
  };
  // Starts the sender. `watching`: the entry whose page waits for it.
  const run = (watching) => {
    watched = watching ?? watched;
    if (!watching && (document.hidden || performance.now() < restsUntil)) return;
    isAskedAgain = true;
    running ??= rounds().catch(() => {}).finally(() => { // without a disk nothing waits on it
      running = null;
      if (isAskedAgain) run(watched);
    });
  };
  document.addEventListener("outbox", ({ detail }) => {
    if (detail.id === watched && detail.what !== "progress") watched = null;
    if (detail.what === "new") run();
  });
  addEventListener("pagehide", () => { outbox.release().catch(() => {}); });

  return { ask, requestOf, pageOf, lead, run, isAnothers, isWatching: () => watched !== null, unwatch: () => { watched = null; } };
})();
