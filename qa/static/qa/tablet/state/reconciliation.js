// After a restore from backup the server may lack what it once acknowledged: what is missing goes again.

const ASK_AT_ONCE = 500;
const WEEK_MS = 7 * 24 * 36e5;

// Out of the kept week and back into the outbox, in one transaction; photos too. Resolves to the acts.
const bringBack = (store, ids) =>
  store.write(["outbox", "sent", "photos"], (outbox, sent, photos) => {
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
  });

const forgetOldSent = (store, before) =>
  store.write(["sent"], (sent) => {
    sent.index("sent_at").openCursor().onsuccess = ({ target: { result } }) => {
      if (!(result?.key <= before)) return;
      result.delete();
      result.continue();
    };
  });

export async function reconcile({ store, connection, queue, tell }) {
  const ids = (await store.all("sent")).filter(({ receipt }) => receipt?.entry).map(({ id }) => id);
  for (let at = 0; at < ids.length; at += ASK_AT_ONCE) {
    const { status, json } = await connection.ask("POST", "/api/have", { body: { ids: ids.slice(at, at + ASK_AT_ONCE) } });
    if (status !== 200 || json?.database !== connection.database) return;
    const back = await bringBack(store, json.missing);
    back.sort((a, b) => a.seq - b.seq).forEach((item) => queue.admit(item));
  }
  await store.put("settings", Date.now(), "reconciled");
  tell({ type: "restored" });
  await forgetOldSent(store, Date.now() - WEEK_MS);
}
