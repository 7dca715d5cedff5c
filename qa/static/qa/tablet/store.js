// What must survive a reload, a closed tab and a flat battery: IndexedDB with strict durability (never localStorage, which flushes seconds late).
// Works on plain http. outbox: acts not yet acknowledged. sent: acknowledged ones, kept a week. checks: carried along. settings: small things by name.

const NAME = "fayline";
const WEEK_MS = 7 * 24 * 3600 * 1000;

const asked = (request) =>
  new Promise((resolve, reject) => {
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => reject(request.error);
  });

export async function openStore(factory = indexedDB, name = NAME) {
  const opening = factory.open(name, 1);
  opening.onupgradeneeded = () => {
    const database = opening.result;
    database.createObjectStore("outbox", { keyPath: "id" }).createIndex("seq", "seq");
    const sent = database.createObjectStore("sent", { keyPath: "id" });
    sent.createIndex("sent_at", "sent_at");
    sent.createIndex("check", "body.said.check");
    database.createObjectStore("checks", { keyPath: "check" });
    database.createObjectStore("photos", { keyPath: "id" });
    database.createObjectStore("settings");
  };
  const database = await asked(opening);
  database.onversionchange = () => database.close();
  return new Store(database);
}

export class Store {
  constructor(database) {
    this.database = database;
  }

  // Resolves with what work returned once the transaction is on disk, not before.
  run(names, mode, work, durability = "strict") {
    return new Promise((resolve, reject) => {
      const transaction = this.database.transaction(names, mode, { durability });
      const tables = names.map((name) => transaction.objectStore(name));
      let answer;
      transaction.oncomplete = () => resolve(answer && answer.result);
      transaction.onabort = () => reject(transaction.error ?? new Error("the browser's store refused"));
      answer = work(...tables);
    });
  }

  get(table, key) {
    return this.run([table], "readonly", (rows) => rows.get(key));
  }

  all(table) {
    return this.run([table], "readonly", (rows) => rows.getAll());
  }

  count(table) {
    return this.run([table], "readonly", (rows) => rows.count());
  }

  put(table, row, key) {
    return this.run([table], "readwrite", (rows) => rows.put(row, key));
  }

  drop(table, key) {
    return this.run([table], "readwrite", (rows) => rows.delete(key));
  }

  // Numbers the act and keeps it; the number orders the acts of this tablet for ever, so it comes from the store, not from a clock.
  addAct(item) {
    return this.run(["outbox", "settings"], "readwrite", (outbox, settings) => {
      const box = { result: item };
      settings.get("seq").onsuccess = ({ target }) => {
        item.body.seq = item.seq = (target.result ?? 0) + 1;
        settings.put(item.seq, "seq");
        outbox.add(item);
      };
      return box;
    });
  }

  acts() {
    return this.run(["outbox"], "readonly", (outbox) => outbox.index("seq").getAll());
  }

  sentOf(check) {
    return this.run(["sent"], "readonly", (sent) => sent.index("check").getAll(check));
  }

  // "mine" when this tab may send the act now: it is still there, and no other tab took it in the last seconds.
  claimAct(id, tab, now, lease_ms) {
    return this.run(["outbox"], "readwrite", (outbox) => {
      const box = {};
      outbox.get(id).onsuccess = ({ target }) => {
        const item = target.result;
        if (!item) box.result = "gone";
        else if (item.claim && item.claim.tab !== tab && item.claim.until > now) box.result = "taken";
        else {
          box.result = "mine";
          outbox.put({ ...item, claim: { tab, until: now + lease_ms } });
        }
      };
      return box;
    }, "relaxed");
  }

  // Out of the outbox and into the kept week in one transaction: never in neither.
  acknowledge(item, receipt, now) {
    return this.run(["outbox", "sent"], "readwrite", (outbox, sent) => {
      sent.put({ id: item.id, seq: item.seq, body: item.body, receipt, sent_at: now });
      outbox.delete(item.id);
    });
  }

  bringBack(ids) {
    return this.run(["outbox", "sent"], "readwrite", (outbox, sent) => {
      const box = { result: [] };
      for (const id of ids) {
        sent.get(id).onsuccess = ({ target }) => {
          if (!target.result) return;
          const { seq, body } = target.result;
          const item = { id, seq, body, state: "waiting", problem: null };
          outbox.put(item);
          sent.delete(id);
          box.result.push(item);
        };
      }
      return box;
    });
  }

  forgetOldSent(now) {
    return this.run(["sent"], "readwrite", (sent) => {
      const old = IDBKeyRange.upperBound(now - WEEK_MS);
      sent.index("sent_at").openCursor(old).onsuccess = ({ target }) => {
        target.result?.delete();
        target.result?.continue();
      };
    });
  }
}
