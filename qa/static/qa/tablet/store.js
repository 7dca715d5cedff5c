// What must survive a reload, a closed tab and a flat battery: IndexedDB with strict durability (never localStorage, which flushes seconds late).
// Works on plain http. outbox: acts not yet acknowledged. sent: acknowledged ones, kept a week. checks: carried along. settings: small things by name.

const WEEK_MS = 7 * 24 * 36e5;

export const isFull = (error) => error?.name === "QuotaExceededError";

const asked = (request) =>
  new Promise((resolve, reject) => {
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => reject(request.error);
  });

export async function openStore() {
  const opening = indexedDB.open("fayline", 1);
  opening.onupgradeneeded = () => {
    const made = opening.result;
    made.createObjectStore("outbox", { keyPath: "id" }).createIndex("seq", "seq");
    const sent = made.createObjectStore("sent", { keyPath: "id" });
    sent.createIndex("sent_at", "sent_at");
    sent.createIndex("check", "body.said.check");
    made.createObjectStore("checks", { keyPath: "check" });
    made.createObjectStore("photos", { keyPath: "id" });
    made.createObjectStore("settings");
  };
  const database = await asked(opening);
  database.onversionchange = () => database.close();

  // Resolves with the result of what work returned once the transaction is on disk, not before.
  const run = (names, mode, work, durability = "strict") =>
    new Promise((resolve, reject) => {
      const transaction = database.transaction(names, mode, { durability });
      let answer;
      transaction.oncomplete = () => resolve(answer && answer.result);
      transaction.onabort = () => reject(transaction.error ?? new DOMException("the browser refused"));
      answer = work(...names.map((name) => transaction.objectStore(name)));
    });
  const read = (name, work) => run([name], "readonly", work);
  const write = (names, work, durability) => run(names, "readwrite", work, durability);

  // Pictures that the server has are kept a week for the same reason as acts, but never in the way of what it does not have.
  const makeRoom = (sent) => {
    sent.openCursor().onsuccess = ({ target: { result } }) => {
      if (result?.value.photo) result.delete();
      result?.continue();
    };
  };
  // Only where there is no room: whatever else is wrong, nothing is thrown away for it.
  const makingRoom = (work) =>
    work().catch((error) => {
      if (!isFull(error)) throw error;
      return write(["sent"], makeRoom).then(work);
    });

  return {
    get: (name, key) => read(name, (rows) => rows.get(key)),
    all: (name) => read(name, (rows) => rows.getAll()),
    count: (name) => read(name, (rows) => rows.count()),
    put: (name, row, key) => write([name], (rows) => rows.put(row, key)),
    drop: (name, key) => write([name], (rows) => rows.delete(key)),
    acts: () => read("outbox", (outbox) => outbox.index("seq").getAll()),
    sentOf: (check) => read("sent", (sent) => sent.index("check").getAll(check)),

    // Numbers the act and keeps it; the number orders the acts of this tablet for ever, so it comes from the store, not from a clock.
    addAct: (item) =>
      makingRoom(() =>
        write(["outbox", "settings"], (outbox, settings) => {
          settings.get("seq").onsuccess = ({ target }) => {
            item.body.seq = item.seq = (target.result ?? 0) + 1;
            settings.put(item.seq, "seq");
            outbox.add(item);
          };
          return { result: item };
        }),
      ),

    addPhoto: (photo) => makingRoom(() => write(["photos"], (photos) => photos.add(photo))),

    photoSent: (photo, now) =>
      write(["photos", "sent"], (photos, sent) => {
        sent.put({ id: photo.id, photo: { ...photo, problem: null }, receipt: { entry: photo.id }, sent_at: now });
        photos.delete(photo.id);
      }),

    // By id: "mine" when this tab may send the act now, since it is still there and no other tab took it in the last seconds; "gone" or "taken".
    claimActs: (ids, tab, now, lease_ms) =>
      write(["outbox"], (outbox) => {
        const result = new Map();
        for (const id of ids)
          outbox.get(id).onsuccess = ({ target }) => {
            const item = target.result;
            if (!item) result.set(id, "gone");
            else if (item.claim && item.claim.tab !== tab && item.claim.until > now) result.set(id, "taken");
            else {
              result.set(id, "mine");
              outbox.put({ ...item, claim: { tab, until: now + lease_ms } });
            }
          };
        return { result };
      }, "relaxed"),

    // Out of the outbox and into the kept week in one transaction: never in neither. settled: [{item, receipt}].
    acknowledge: (settled, now) =>
      write(["outbox", "sent"], (outbox, sent) => {
        for (const { item, receipt } of settled) {
          sent.put({ id: item.id, seq: item.seq, body: item.body, receipt, sent_at: now });
          outbox.delete(item.id);
        }
      }),

    bringBack: (ids) =>
      write(["outbox", "sent", "photos"], (outbox, sent, photos) => {
        const result = [];
        for (const id of ids) {
          sent.get(id).onsuccess = ({ target }) => {
            if (!target.result) return;
            sent.delete(id);
            const { seq, body, photo, receipt } = target.result;
            if (photo) return void photos.put(photo);
            body.database ??= receipt.database;
            const item = { id, seq, body, state: "waiting", problem: null };
            outbox.put(item);
            result.push(item);
          };
        }
        return { result };
      }),

    forgetOldSent: (now) =>
      write(["sent"], (sent) => {
        sent.index("sent_at").openCursor(IDBKeyRange.upperBound(now - WEEK_MS)).onsuccess = ({ target }) => {
          target.result?.delete();
          target.result?.continue();
        };
      }),
  };
}
