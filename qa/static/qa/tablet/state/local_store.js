// What must survive a reload, a closed tab and a flat battery: IndexedDB with strict durability (never localStorage, which flushes seconds late).
// Works on plain http. outbox: acts not yet acknowledged. sent: acknowledged ones, kept a week. checks: carried along. settings: small things by name.

export const isFull = (error) => error?.name === "QuotaExceededError";

const resultOf = (request) =>
  new Promise((resolve, reject) => {
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => reject(request.error);
  });

function makeTables(database) {
  database.createObjectStore("outbox", { keyPath: "id" }).createIndex("seq", "seq");
  const sent = database.createObjectStore("sent", { keyPath: "id" });
  sent.createIndex("sent_at", "sent_at");
  sent.createIndex("check", "body.said.check");
  database.createObjectStore("checks", { keyPath: "check" });
  database.createObjectStore("photos", { keyPath: "id" });
  database.createObjectStore("settings");
}

export async function openStore(indexedDB) {
  const opening = indexedDB.open("fayline", 1);
  opening.onupgradeneeded = () => makeTables(opening.result);
  const database = await resultOf(opening);
  database.onversionchange = () => database.close();
  return new LocalStore(database);
}

// Pictures that the server has are kept a week for the same reason as acts, but never in the way of what it does not have.
const dropPhotos = (sent) => {
  sent.openCursor().onsuccess = ({ target: { result } }) => {
    if (result?.value.photo) result.delete();
    result?.continue();
  };
};

class LocalStore {
  constructor(database) {
    this.database = database;
  }

  // Resolves with the result of what work returned once the transaction is on disk, not before.
  run(names, mode, work, durability = "strict") {
    return new Promise((resolve, reject) => {
      const transaction = this.database.transaction(names, mode, { durability });
      let answer;
      transaction.oncomplete = () => resolve(answer && answer.result);
      transaction.onabort = () => reject(transaction.error ?? new DOMException("the browser refused"));
      answer = work(...names.map((name) => transaction.objectStore(name)));
    });
  }

  read(name, work) {
    return this.run([name], "readonly", work);
  }

  write(names, work, durability) {
    return this.run(names, "readwrite", work, durability);
  }

  // Only where there is no room: whatever else is wrong, nothing is thrown away for it.
  async writeMakingRoom(names, work) {
    try {
      return await this.write(names, work);
    } catch (error) {
      if (!isFull(error)) throw error;
      await this.write(["sent"], dropPhotos);
      return this.write(names, work);
    }
  }

  get(name, key) {
    return this.read(name, (rows) => rows.get(key));
  }

  all(name) {
    return this.read(name, (rows) => rows.getAll());
  }

  put(name, row, key) {
    return this.write([name], (rows) => rows.put(row, key));
  }

  drop(name, key) {
    return this.write([name], (rows) => rows.delete(key));
  }

  acts() {
    return this.read("outbox", (outbox) => outbox.index("seq").getAll());
  }

  sentOf(check) {
    return this.read("sent", (sent) => sent.index("check").getAll(check));
  }

  // Numbers the act and keeps it; the number orders the acts of this tablet for ever, so it comes from the store, not from a clock.
  addAct(item) {
    return this.writeMakingRoom(["outbox", "settings"], (outbox, settings) => {
      settings.get("seq").onsuccess = ({ target }) => {
        item.body.seq = item.seq = (target.result ?? 0) + 1;
        settings.put(item.seq, "seq");
        outbox.add(item);
      };
      return { result: item };
    });
  }
}
