// Sends the acts of this tablet, each as one fact, however often the network, the server or the tablet fails on the way.
// An act leaves the outbox for one reason only: a receipt that carries its id and the id of our database.
import { LEASE_MS, TIMEOUT_MS, backoff, classify, forAll, freedBy } from "./protocol.js";
import { Queue } from "./queue.js";
import { newId } from "./uuid.js";

const ABREAST = 2;
const TOGETHER = 16;
const CLAIM_AT_ONCE = 2 * ABREAST * TOGETHER;
const ASK_AT_ONCE = 500;
const HOUR_MS = 36e5;
const MINUTE_MS = 6e4;

// channel joins the tabs of one browser. tell(event): {type, item?, receipt?, why?} on everything that happened.
export function outboxOf({ store, link, channel, tell }) {
  // The same after a reload, so that what flew when the page went is ours at once.
  const tab = (sessionStorage.tab ??= newId());
  const queue = new Queue();
  const flying = new Set();
  // Claimed for this tab and next to fly; answered and next to be written. Both go to the store many at a time: a transaction each would cost more than the sending.
  const claimed = [];
  const settled = [];
  const box = { queue, open, add, kick, greet, retry, setAside, pause: null, fails: 0, lastContact: null };
  let notBefore = 0;
  let noted = 0;
  let timer = 0;
  let greeting = null;
  let claiming = false;
  let writing = null;

  const share = (message) => channel?.postMessage(message);
  const changed = () => tell({ type: "counts" });
  if (channel) channel.onmessage = ({ data }) => hear(data);

  async function open() {
    for (const item of await store.acts()) {
      // Made by an older page: what it names was learned from the database known until now.
      item.body.database ??= link.database ?? "";
      if (!queue.items.has(item.id)) queue.admit(item);
    }
    box.lastContact ??= await store.get("settings", "contact");
    changed();
  }

  // Our server answered. When, is kept through a reload, to the minute: a write an act would cost as much as the act.
  function heard() {
    box.fails = 0;
    box.lastContact = Date.now();
    if (box.lastContact - noted < MINUTE_MS) return;
    noted = box.lastContact;
    store.put("settings", noted, "contact").catch(() => {});
  }

  // Keeps the act on the tablet; resolves when it is on disk, long before it is sent.
  // database: the one that what it names was learned from.
  async function add(form, by, said, database = link.database ?? "") {
    const body = { form, by, made_at: new Date().toISOString(), device: link.device, database, claimed: link.isClaimed(by), seq: 0, said };
    const item = await store.addAct({ id: newId(), body, state: "waiting", problem: null });
    queue.admit(item);
    share({ added: item });
    tell({ type: "added", item });
    kick();
    return item;
  }

  // Another tab of the same tablet did something to the common store.
  function hear({ added, done, parked, problem, freed, back }) {
    if (added && !queue.items.has(added.id)) {
      queue.admit(added);
      tell({ type: "added", item: added });
    }
    for (const one of done ?? []) finish(one.id, one.receipt);
    if (parked) queue.park(parked, problem);
    if (queue.items.has(parked)) tell({ type: "parked", item: queue.items.get(parked) });
    if (freed) queue.unpark(freed);
    if (back) queue.putBack(back);
    changed();
    pump();
  }

  // Something happened that may have brought the server back: try at once. With nothing to send and no contact, ask whether it is there.
  function kick() {
    notBefore = 0;
    if (queue.items.size) pump();
    else if (!box.pause && (box.fails || !link.ready)) greet();
  }

  function pump() {
    clearTimeout(timer);
    const wait = notBefore - Date.now();
    if (wait > 0) timer = setTimeout(pump, wait);
    else if (!box.pause && queue.items.size) {
      if (link.ready) launch();
      else greet();
    }
  }

  function launch() {
    while (claimed.length && flying.size < (box.fails ? 1 : ABREAST)) {
      const batch = claimed.splice(0, box.fails ? 1 : TOGETHER).filter(({ id }) => queue.items.has(id));
      if (!batch.length) continue;
      flying.add(batch);
      fly(batch).finally(() => {
        flying.delete(batch);
        changed();
        pump();
      });
    }
    if (!claimed.length && !claiming) claim();
  }

  async function claim() {
    const wanted = queue.take(box.fails ? 1 : CLAIM_AT_ONCE);
    if (!wanted.length) return;
    claiming = true;
    const ids = wanted.map(({ id }) => id);
    const answers = await store.claimActs(ids, tab, Date.now(), LEASE_MS).catch(() => new Map());
    claiming = false;
    for (const item of wanted) {
      const answer = answers.get(item.id);
      if (answer === "mine") claimed.push(item);
      else if (answer === "gone") finish(item.id, null);
      // Another tab sends it and will tell; else it is tried again.
      else setTimeout(() => hear({ back: item.id }), 1000);
    }
    pump();
  }

  // Each act lands by an answer of its own; after a failure they go one at a time, so that one bad act does not hold up the others.
  async function fly(batch) {
    const answers = await (batch.length > 1 ? sendAll(batch) : sendOne(batch[0]));
    const fates = new Set();
    for (const [at, item] of batch.entries()) fates.add(land(item, answers[at] ?? { status: 0 }));
    for (const fate of ["sign_in", "revoked"]) if (fates.has(fate)) return stop(fate);
    if (fates.has("csrf") || fates.has("other_database")) link.ready = false;
    if ([...fates].some((fate) => fate !== "done" && fate !== "park")) failed();
    return undefined;
  }

  // No answer, half an answer, a redirect: all the same, the act is sent again.
  const sendOne = async ({ id, body }) => [await link.ask("PUT", `/api/acts/${id}`, body, TIMEOUT_MS).catch(() => ({ status: 0 }))];

  async function sendAll(batch) {
    const acts = batch.map(({ id, body }) => ({ id, body }));
    const whole = await link.ask("POST", "/api/acts", { acts }, TIMEOUT_MS).catch(() => ({ status: 0 }));
    return whole.status === 200 && Array.isArray(whole.json?.answers) ? whole.json.answers : batch.map(() => forAll(whole));
  }

  function land(item, { status, json }) {
    const { what, problem } = classify(status, json, item.id, link.database);
    if (what === "done") settle(item, json);
    else if (what === "park") park(item, problem);
    else queue.putBack(item.id);
    if (what === "done" || what === "park") heard();
    return what;
  }

  // What comes in while the store writes is written together, next.
  function settle(item, receipt) {
    settled.push({ item, receipt });
    return (writing ??= write());
  }

  async function write() {
    while (settled.length) {
      const now = settled.splice(0);
      const kept = await store.acknowledge(now, Date.now()).then(() => true, () => false);
      // Not written: sent again, and answered the same.
      if (!kept) {
        for (const { item } of now) queue.putBack(item.id);
        failed();
      } else {
        share({ done: now.map(({ item, receipt }) => ({ id: item.id, receipt })) });
        for (const { item, receipt } of now) finish(item.id, receipt);
      }
    }
    writing = null;
    pump();
  }

  function finish(id, receipt) {
    const item = queue.items.get(id);
    queue.done(id);
    if (item) tell({ type: "receipt", item, receipt });
  }

  async function park(item, problem) {
    queue.park(item.id, problem);
    // Not written: it is parked here until the page is opened again, and then sent and refused once more.
    const error = await store.put("outbox", { ...item, claim: null }).then(() => null, (no) => no);
    share({ parked: item.id, problem });
    tell({ type: "parked", item, error });
  }

  // A person says: send it again.
  async function retry(id) {
    const item = queue.items.get(id);
    if (item?.state !== "parked") return;
    queue.unpark(id);
    await store.put("outbox", { ...item, claim: null });
    share({ freed: id });
    changed();
    kick();
  }

  // A person says: this one is not to be sent. It stays in the kept week and in the file, with the reason.
  async function setAside(id, reason) {
    const item = queue.items.get(id);
    if (item?.state === "parked") await settle(item, { aside: reason, problem: item.problem });
    changed();
    kick();
  }

  function failed() {
    for (const item of claimed.splice(0)) queue.putBack(item.id);
    box.fails += 1;
    notBefore = Date.now() + backoff(box.fails, Math.random());
  }

  function stop(why) {
    for (const item of claimed.splice(0)) queue.putBack(item.id);
    box.pause = why;
    tell({ type: "pause", why });
  }

  // Asks the server who it is. Nothing is sent before the answer, and nothing to a database that is not ours.
  function greet() {
    greeting ??= link
      .session()
      .then(met)
      .catch(({ problem }) => (problem?.code === "revoked" ? stop("revoked") : failed()))
      .finally(() => {
        greeting = null;
        changed();
        pump();
      });
    return greeting;
  }

  async function met({ user, moved }) {
    heard();
    box.pause = null;
    tell({ type: "session" });
    if (!link.ready) return stop("other_database");
    if (!user && !link.token) return stop("sign_in");
    for (const item of [...queue.items.values()]) if (user && freedBy(item, user.username)) await retry(item.id);
    const last = (await store.get("settings", "reconciled")) ?? 0;
    if (moved || Date.now() - last > HOUR_MS) await reconcile();
    return undefined;
  }

  // After a restore from backup the server may lack what it once acknowledged: what is missing goes again.
  async function reconcile() {
    const ids = (await store.all("sent")).filter(({ receipt }) => receipt?.entry).map(({ id }) => id);
    for (let at = 0; at < ids.length; at += ASK_AT_ONCE) {
      const { status, json } = await link.ask("POST", "/api/have", { ids: ids.slice(at, at + ASK_AT_ONCE) });
      if (status !== 200 || json?.database !== link.database) return;
      const back = await store.bringBack(json.missing);
      back.sort((a, b) => a.seq - b.seq).forEach((item) => queue.admit(item));
    }
    await store.put("settings", Date.now(), "reconciled");
    await store.forgetOldSent(Date.now());
  }

  return box;
}
