// Sends the acts of the outbox, each as one fact, however often the network, the server or the tablet fails on the way.
// It comes after the first screen: what is measured before waits in the outbox.
import { LEASE_MS, backoff, classify, forAll, freedBy } from "../core/protocol.js";

const ABREAST = 2;
const TOGETHER = 16;
const CLAIM_AT_ONCE = 2 * ABREAST * TOGETHER;
const HOUR_MS = 36e5;
const MINUTE_MS = 6e4;

export class Sender {
  constructor(outbox) {
    // claimed: for this tab and next to fly; settled: answered and next to be written.
    // Both go to the store many at a time: a transaction each would cost more than the sending.
    Object.assign(this, { outbox, flying: new Set(), claimed: [], settled: [], notBefore: 0, noted: 0 });
  }

  // Our server answered. When, is kept through a reload, to the minute: a write an act would cost as much as the act.
  answered() {
    const { outbox } = this;
    outbox.fails = 0;
    outbox.lastContact = Date.now();
    if (outbox.lastContact - this.noted < MINUTE_MS) return;
    this.noted = outbox.lastContact;
    outbox.store.put("settings", this.noted, "contact").catch((error) => outbox.trouble(error));
  }

  // Something happened that may have brought the server back: try at once.
  kick() {
    this.notBefore = 0;
    this.pump();
  }

  // With nothing to send and no contact it goes on asking whether the server is there: "no contact" is never said of one that is back.
  pump() {
    clearTimeout(this.timer);
    const { queue, pause, fails, connection } = this.outbox;
    const wait = this.notBefore - Date.now();
    if (pause) return;
    if (wait > 0) this.timer = setTimeout(() => this.pump(), wait);
    else if (connection.ready && (this.claimed.length || queue.ready.length)) this.launch();
    else if ((fails && !this.flying.size && !this.claiming) || !connection.ready) this.greet();
  }

  launch() {
    const { claimed, flying, outbox } = this;
    while (claimed.length && flying.size < (outbox.fails ? 1 : ABREAST)) {
      const batch = claimed.splice(0, outbox.fails ? 1 : TOGETHER).filter(({ id }) => outbox.queue.items.has(id));
      if (!batch.length) continue;
      flying.add(batch);
      this.fly(batch).finally(() => {
        flying.delete(batch);
        outbox.changed();
        this.pump();
      });
    }
    if (!claimed.length && !this.claiming) this.claim();
  }

  async claim() {
    const wanted = this.outbox.queue.take(this.outbox.fails ? 1 : CLAIM_AT_ONCE);
    // What another tab sent is not ready any more.
    if (!wanted.length) return void (this.outbox.fails && this.pump());
    this.claiming = true;
    const ids = wanted.map(({ id }) => id);
    const answers = await claimActs(this.outbox.store, ids, this.outbox.tab, Date.now(), LEASE_MS).catch((error) => this.outbox.trouble(error));
    this.claiming = false;
    for (const item of wanted) {
      const answer = answers?.get(item.id);
      if (answer === "mine") this.claimed.push(item);
      else if (answer === "gone") this.outbox.finish(item.id, null);
      // Another tab sends it and will tell; else it is tried again.
      else setTimeout(() => this.outbox.hear({ back: item.id }), 1000);
    }
    this.pump();
  }

  // Each act lands by an answer of its own; after a failure they go one at a time, so that one bad act does not hold up the others.
  async fly(batch) {
    const answers = await (batch.length > 1 ? this.sendAll(batch) : this.sendOne(batch[0]));
    const fates = new Set();
    for (const [at, item] of batch.entries()) fates.add(this.land(item, answers[at] ?? { status: 0 }));
    for (const fate of ["sign_in", "revoked"]) if (fates.has(fate)) return void this.stop(fate);
    if (fates.has("csrf") || fates.has("other_database")) this.outbox.connection.ready = false;
    if ([...fates].some((fate) => fate !== "done" && fate !== "park")) this.failed();
  }

  // No answer, half an answer, a redirect: all the same, the act is sent again.
  async sendOne({ id, body }) {
    return [await this.outbox.connection.ask("PUT", `/api/acts/${id}`, { body })];
  }

  async sendAll(batch) {
    const acts = batch.map(({ id, body }) => ({ id, body }));
    const reply = await this.outbox.connection.ask("POST", "/api/acts", { body: { acts } });
    return reply.status === 200 && Array.isArray(reply.json?.answers) ? reply.json.answers : batch.map(() => forAll(reply));
  }

  land(item, { status, json }) {
    const { what, problem } = classify(status, json, item.id, this.outbox.connection.database);
    if (what === "done") this.settle(item, json);
    else if (what === "park") this.park(item, problem);
    else this.outbox.queue.putBack(item.id);
    if (what === "done" || what === "park") this.answered();
    return what;
  }

  // What comes in while the store writes is written together, next.
  settle(item, receipt) {
    this.settled.push({ item, receipt });
    return (this.writing ??= this.write());
  }

  async write() {
    while (this.settled.length) {
      const now = this.settled.splice(0);
      const error = await acknowledge(this.outbox.store, now, Date.now()).then(() => null, (refused) => refused);
      if (error) this.notWritten(now, error);
      else {
        this.outbox.share({ done: now.map(({ item, receipt }) => ({ id: item.id, receipt })) });
        for (const { item, receipt } of now) this.outbox.finish(item.id, receipt);
      }
    }
    this.writing = null;
    this.pump();
  }

  // Sent again, and answered the same.
  notWritten(settled, error) {
    for (const { item } of settled) this.outbox.queue.putBack(item.id);
    this.failed();
    this.outbox.trouble(error);
  }

  async park(item, problem) {
    this.outbox.queue.park(item.id, problem);
    // Not written: it is parked here until the page is opened again, and then sent and refused once more.
    const error = await this.outbox.store.put("outbox", { ...item, claim: null }).then(() => null, (refused) => refused);
    this.outbox.share({ parked: item.id, problem });
    this.outbox.tell({ type: "parked", item, error });
  }

  // Acts that the server refused wait apart for a person, who sends them again or decides that they are not to be sent.
  async retry(id) {
    const { queue, store } = this.outbox;
    const item = queue.items.get(id);
    if (item?.state !== "parked") return;
    queue.unpark(id);
    await store.put("outbox", { ...item, claim: null });
    this.outbox.share({ freed: id });
    this.goOn();
  }

  // It stays in the kept week and in the file, with the reason.
  async setAside(id, reason) {
    const item = this.outbox.queue.items.get(id);
    if (item?.state === "parked") await this.settle(item, { aside: reason, problem: item.problem });
    this.goOn();
  }

  goOn() {
    this.outbox.changed();
    this.kick();
  }

  // This person is here now: what was refused for want of that goes again.
  async retryActsOf(username) {
    for (const item of [...this.outbox.queue.items.values()]) if (freedBy(item, username)) await this.retry(item.id);
  }

  failed() {
    this.giveBack();
    this.outbox.fails += 1;
    this.notBefore = Date.now() + backoff(this.outbox.fails, Math.random());
  }

  stop(why) {
    this.giveBack();
    this.outbox.pause = why;
    this.outbox.tell({ type: "pause", why });
  }

  giveBack() {
    for (const { id } of this.claimed.splice(0)) this.outbox.queue.putBack(id);
  }

  // Asks the server who it is. Nothing is sent before the answer, and nothing to a database that is not ours.
  greet() {
    this.greeting ??= this.outbox.connection
      .session()
      .then((session) => this.met(session))
      .catch((error) => this.notMet(error))
      .finally(() => {
        this.greeting = null;
        this.outbox.changed();
        this.pump();
      });
    return this.greeting;
  }

  notMet(error) {
    if (error.problem?.code === "revoked") return void this.stop("revoked");
    this.failed();
    if (error.status === undefined && !error.unanswered) this.outbox.trouble(error);
  }

  async met({ user, moved }) {
    const { outbox } = this;
    this.answered();
    outbox.pause = null;
    outbox.tell({ type: "session" });
    const { ready, stranger } = outbox.connection;
    if (!ready) return void this.stop(stranger ? "other_database" : moved ? "restored" : "rewritten");
    if (!user && !outbox.connection.token) return void this.stop("sign_in");
    try {
      if (user) await this.retryActsOf(user.username);
      const last = (await outbox.store.get("settings", "reconciled")) ?? 0;
      if (moved || Date.now() - last > HOUR_MS) await (await outbox.load("reconciliation")).reconcile(outbox);
    } catch (error) {
      // The server was met all the same: asked again at once, it would be asked for ever.
      if (error.unanswered) setTimeout(() => this.greet(), 30000);
      else outbox.trouble(error);
    }
  }
}

// By id: "mine" when this tab may send the act now, since it is still there and no other tab took it in the last seconds; "gone" or "taken".
function claimActs(store, ids, tab, now, lease_ms) {
  return store.write(["outbox"], (outbox) => {
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
  }, "relaxed");
}

// Out of the outbox and into the kept week in one transaction: never in neither. settled: [{item, receipt}].
function acknowledge(store, settled, now) {
  return store.write(["outbox", "sent"], (outbox, sent) => {
    for (const { item, receipt } of settled) {
      sent.put({ id: item.id, seq: item.seq, body: item.body, receipt, sent_at: now });
      outbox.delete(item.id);
    }
  });
}
