// What this tablet keeps: how much waits, what it is, and what has come back to be answered.
(() => {
  const MOST = 50;
  const ALL_SENT_MS = 4_000;
  let isListed = false;
  let hadSome = false;
  let isHeard = true;

  const place = () => document.getElementById("kept");
  const part = (from, name) => from.querySelector(`[data-${name}]`);
  const room = () => new RegExp(`^${sitePath}/rooms/([^/]+)/`).exec(location.pathname + "/")?.[1];
  const when = (entry) => (entry.touched ? serverTime.words(entry.touched.at) : "");

  const maker = ({ fields, by }) => fields.find(([name]) => name === "by")?.[1] || by;

  // ---- the strip

  const show = async () => {
    const { waiting: all, asks } = await outbox.counts();
    const waiting = Math.max(0, all - courier.isWatching()); // not what its page shows as being sent
    const strip = place();
    if (!strip) return;
    const counted = [waiting && `${waiting} waiting`, asks && `${asks} to answer`].filter(Boolean).join(", ");
    const isEmpty = !waiting && !asks;
    if (isEmpty && hadSome) setTimeout(show, ALL_SENT_MS);
    strip.hidden = isEmpty && !hadSome;
    strip.dataset.state = asks ? "asks" : "waiting";
    part(strip, "count").textContent = isEmpty ? strip.dataset.sent : `${strip.dataset.kept} ${counted}.`;
    part(strip, "why").textContent = waiting && !isHeard ? strip.dataset.later : "";
    hadSome = !isEmpty;
    isListed &&= !isEmpty;
    const button = part(strip, "act");
    button.hidden = isEmpty;
    if (isListed) await list(strip, waiting + asks); // before it is said to be open: the next key goes into it
    button.setAttribute("aria-expanded", isListed);
    part(strip, "list").hidden = !isListed;
  };
  const list = async (strip, total) => {
    const entries = [...(await outbox.some("asks", MOST)), ...(await outbox.some("waiting", MOST))];
    const lines = entries.filter((one) => one.room === room()).map(line);
    for (const key of new Set(entries.map((one) => one.room))) {
      if (key !== room()) lines.push(elsewhere(key, entries.filter((one) => one.room === key)));
    }
    if (total > entries.length) lines.push(Object.assign(document.createElement("li"), { textContent: `${total - entries.length} more` }));
    const focused = document.activeElement?.closest?.("#kept li")?.dataset.id;
    if (!focused || !entries.some((one) => `${one.id}` === focused)) part(strip, "list").replaceChildren(...lines);
  };
  const elsewhere = (key, some) => {
    const link = Object.assign(document.createElement("a"), { className: "button", href: `${sitePath}/rooms/${key}`, textContent: `${some[0].roomName}: ${some.length}` });
    const item = document.createElement("li");
    item.append(link);
    return item;
  };
  const line = (entry) => {
    const made = document.getElementById("kept-line").content.firstElementChild.cloneNode(true);
    made.dataset.id = entry.id;
    part(made, "title").textContent = entry.title;
    part(made, "typed").textContent = entry.typed.join(", ");
    part(made, "when").textContent = [when(entry), maker(entry)].filter(Boolean).join(", ");
    part(made, "tried").hidden = !(entry.state === "waiting" && entry.tries);
    part(made, "words").textContent = entry.words || (entry.state === "asks" && !entry.isWhenAsked ? made.dataset.asks : "");
    part(made, "others").hidden = !(entry.state === "waiting" && courier.isAnothers(entry));
    part(made, "clock").hidden = !entry.isWhenAsked;
    if (entry.isWhenAsked) {
      for (const way of ["at", "byDevice"]) made.querySelector(`[data-way=${way}]`).textContent = serverTime.words(entry.touched[way]);
    }
    made.querySelector("[data-act=show]").hidden = entry.isWhenAsked || entry.state !== "asks";
    return made;
  };

  // ---- what came back, as a page that can be answered

  const fill = (form, entry) => {
    for (const [name, value] of entry.fields) {
      const found = name === "submission" ? [] : [...form.querySelectorAll(`[name="${CSS.escape(name)}"]`)];
      for (const field of found) {
        if (["radio", "checkbox"].includes(field.type)) field.toggleAttribute("checked", field.value === value);
        else if (field.localName === "select") for (const one of field.options) one.toggleAttribute("selected", one.value === value);
        else if (field.localName === "textarea") field.textContent = value;
        else if (field.type !== "file" && field.localName === "input") field.setAttribute("value", value);
      }
    }
  };
  // A page of some time ago says the present time; its form says when it was touched.
  const date = (page, entry) => {
    const clock = page.querySelector("time.clock");
    const now = serverTime.now();
    if (clock && now) clock.setAttribute("datetime", new Date(now).toISOString());
    const at = page.querySelector("form [name=at][type=datetime-local]");
    if (!at || at.value || page.querySelector("#doubts") || !entry.touched) return;
    at.setAttribute("value", serverTime.typed(entry.touched.at));
    at.closest("details")?.setAttribute("open", "");
  };
  const formPage = async (entry) => {
    const answer = await courier.ask({ method: "GET", url: entry.page });
    const page = courier.pageOf(answer.text);
    const form = [...page.querySelectorAll("form[method=post]")]
      .find((one) => new URL(one.getAttribute("action") || entry.page, location.href).pathname === new URL(entry.url, location.href).pathname);
    if (answer.status !== 200 || !form) return null;
    fill(form, entry);
    const notice = page.importNode(document.getElementById("kept-refused").content.firstElementChild, true);
    notice.id = "problems"; // which the page brings into view
    part(notice, "words").textContent = entry.words;
    form.before(notice);
    return page;
  };
  const open = async (entry, item) => {
    const page = entry.html ? courier.pageOf(entry.html) : await formPage(entry);
    if (!page) {
      part(item, "gone").hidden = false;
      return;
    }
    date(page, entry);
    const detail = { text: page.documentElement.outerHTML, url: entry.html ? entry.url : entry.page, entry };
    isListed = false;
    document.dispatchEvent(new CustomEvent("show-page", { detail }));
  };

  // ---- touches

  const ACTS = {
    list: () => { isListed = !isListed; },
    show: open,
    drop: (entry, item) => {
      part(item, "sure").hidden = false;
      part(item, "sure").querySelector("button").focus();
    },
    spare: (entry, item) => {
      part(item, "sure").hidden = true;
      item.querySelector("[data-act=drop]").focus();
    },
    lose: async (entry) => {
      part(place(), "act").focus();
      await outbox.drop(entry.id);
      outbox.tell({ what: "left", id: entry.id });
    },
    time: async (entry, item, button) => {
      const at = entry.touched[button.dataset.way];
      button.blur();
      await outbox.change(entry.id, { state: "waiting", isWhenAsked: false, touched: { ...entry.touched, at, byDevice: at } });
      outbox.tell({ what: "new" });
    },
  };
  document.addEventListener("click", async (event) => {
    const button = event.target.closest?.("#kept button");
    if (!button) return;
    const item = button.closest("li");
    const entry = item && (await outbox.get(Number(item.dataset.id)));
    if (entry || !item) await ACTS[button.dataset.act](entry, item, button);
    await show();
  });

  const later = (work) => { // many at once are one
    let timer = null;
    return () => { timer ??= setTimeout(() => { timer = null; work().catch(() => {}); }, 100); };
  };
  const showSoon = later(show);
  document.addEventListener("outbox", ({ detail }) => { if (detail.what !== "progress") showSoon(); });
  for (const name of ["kept", "htmx:after:swap", "visibilitychange"]) document.addEventListener(name, showSoon);
  document.addEventListener("server-lost", () => { isHeard = false; showSoon(); });
  document.addEventListener("server-heard", () => {
    isHeard = true;
    if (hadSome) { courier.run(); showSoon(); }
  });
  outbox.counts().then(({ waiting }) => { if (waiting) courier.run(); }).catch(() => {});
  showSoon();
})();
