// What is entered lies here, on the tablet's own disk, from before it is sent until the server has
// answered: in order, and for every page of this address. It works on plain http, where there are
// neither locks nor service workers.
const outbox = (() => {
  const LEASE_MS = 20_000;
  const STATES = ["waiting", "asks"];
  const newKey = () => [...crypto.getRandomValues(new Uint8Array(16))].map((byte) => byte.toString(16).padStart(2, "0")).join("");
  const me = newKey();
  const channel = new BroadcastChannel("outbox");
  let opened = null;

  const open = () => {
    opened ??= new Promise((resolve, reject) => {
      const asked = indexedDB.open("outbox", 1);
      asked.onupgradeneeded = () => {
        asked.result.createObjectStore("entries", { keyPath: "id", autoIncrement: true }).createIndex("state", "state");
        asked.result.createObjectStore("sender");
      };
      asked.onsuccess = () => {
        asked.result.onclose = asked.result.onversionchange = () => { asked.result.close(); opened = null; };
        resolve(asked.result);
      };
      asked.onerror = () => reject(asked.error);
    });
    opened.catch(() => { opened = null; });
    return opened;
  };
  // One change, or none. What must not be lost is given only once it lies on the disk itself.
  const within = async (name, mode, work, durability = "relaxed") => {
    const database = await open();
    return new Promise((resolve, reject) => {
      const change = database.transaction(name, mode, { durability });
      const request = work(change.objectStore(name));
      change.oncomplete = () => resolve(request?.result);
      change.onabort = () => reject(change.error || new Error("It could not be kept."));
    });
  };
  const look = (work) => within("entries", "readonly", work);
  const write = (work, durability) => within("entries", "readwrite", work, durability);

  // Nothing comes back that was left out meanwhile.
  const change = (id, fields, durability) => write((store) => {
    const asked = store.get(id);
    asked.onsuccess = () => { if (asked.result) store.put({ ...asked.result, ...fields }); };
  }, durability);

  // One page sends at a time. A lease that runs out, since its page may have gone; one that lasts
  // longer than any was given by a clock that has been set back since.
  const lease = async () => {
    let isMine = false;
    await within("sender", "readwrite", (store) => {
      const asked = store.get("lease");
      asked.onsuccess = () => {
        const now = Date.now();
        const { by, until } = asked.result || { until: 0 };
        isMine = by === me || until < now || until > now + LEASE_MS;
        if (isMine) store.put({ by: me, until: now + LEASE_MS }, "lease");
      };
    });
    return isMine;
  };
  const release = () => within("sender", "readwrite", (store) => {
    const asked = store.get("lease");
    asked.onsuccess = () => { if (asked.result?.by === me) store.delete("lease"); };
  });
  const tell = (news) => {
    document.dispatchEvent(new CustomEvent("outbox", { detail: news }));
    channel.postMessage(news);
  };
  channel.onmessage = ({ data }) => document.dispatchEvent(new CustomEvent("outbox", { detail: data }));

  return {
    newKey,
    lease,
    release,
    tell,
    keep: (entry) => write((store) => store.add(entry), "strict"),
    change,
    drop: (id) => write((store) => store.delete(id)),
    get: (id) => look((store) => store.get(id)),
    ids: (state) => look((store) => store.index("state").getAllKeys(state)),
    some: (state, most) => look((store) => store.index("state").getAll(state, most)),
    counts: async () => Object.fromEntries(await Promise.all(STATES.map(async (state) => [state, await look((store) => store.index("state").count(state))]))),
  };
})();
