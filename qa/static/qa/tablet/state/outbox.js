// Sends the acts of this tablet, each as one fact, however often the network, the server or the tablet fails on the way.
// An act leaves the outbox for one reason only: a receipt that carries its id and the id of our database.
import { LEASE_MS, backoff, classify, forAll, freedBy, newId } from "../core/protocol.js";
import { SendQueue } from "../core/send_queue.js";

const ABREAST = 2;
const TOGETHER = 16;
const CLAIM_AT_ONCE = 2 * ABREAST * TOGETHER;
const HOUR_MS = 36e5;
const MINUTE_MS = 6e4;

export class Outbox {
  // channel joins the tabs of one browser; tab names this one, the same after a reload, so that what flew when the page went is ours at once.
  // tell(event): {type, item?, receipt?, why?, error?} on everything that happened. reconcile(outbox): see reconciliation.js.
  constructor({ store, connection, channel, tab, tell, reconcile }) {
    const queue = new SendQueue();
    // claimed: for this tab and next to fly; settled: answered and next to be written.
    // Both go to the store many at a time: a transaction each would cost more than the sending.
    Object.assign(this, { store, connection, channel, tab, tell, reconcile, queue, flying: new Set(), claimed: [], settled: [], pause: null, fails: 0, lastContact: null, notBefore: 0, noted: 0 });
    if (channel) channel.onmessage = ({ data }) => this.hear(data);
  }

  async open() {
    for (const item of await this.store.acts()) {
      // Made by an older page: what it names was learned from the database known until now.
      item.body.database ??= this.connection.database ?? "";
      if (!this.queue.items.has(item.id)) this.queue.admit(item);
    }
    this.lastContact ??= await this.store.get("settings", "contact");
    this.changed();
  }

  share(message) {
    this.channel?.postMessage(message);
  }

  changed() {
    this.tell({ type: "counts" });
  }

  // What the store refused: never passed over in silence.
  trouble(error) {
    this.tell({ type: "trouble", error });
  }

  // Our server answered. When, is kept through a reload, to the minute: a write an act would cost as much as the act.
  answered() {
    this.fails = 0;
    this.lastContact = Date.now();
    if (this.lastContact - this.noted < MINUTE_MS) return;
    this.noted = this.lastContact;
    this.store.put("settings", this.noted, "contact").catch((error) => this.trouble(error));
  }

  // Keeps the act on the tablet; resolves when it is on disk, long before it is sent.
  // database: the one that what it names was learned from.
  async add(form, by, said, database = this.connection.database ?? "") {
    const { device } = this.connection;
    const body = { form, by, made_at: new Date().toISOString(), device, database, claimed: this.connection.isClaimed(by), seq: 0, said };
    const item = await this.store.addAct({ id: newId(), body, state: "waiting", problem: null });
    this.queue.admit(item);
    this.share({ added: item });
    this.tell({ type: "added", item });
    this.kick();
    return item;
  }

  // Another tab of the same tablet did something to the common store.
  hear({ added, done, parked, problem, freed, back }) {
    const { queue } = this;
    if (added && !queue.items.has(added.id)) {
      queue.admit(added);
      this.tell({ type: "added", item: added });
    }
    for (const { id, receipt } of done ?? []) this.finish(id, receipt);
    if (parked) queue.park(parked, problem);
    if (queue.items.has(parked)) this.tell({ type: "parked", item: queue.items.get(parked) });
    if (freed) queue.unpark(freed);
    if (back) queue.putBack(back);
    this.changed();
    this.pump();
  }

  // Something happened that may have brought the server back: try at once. With nothing to send and no contact, ask whether it is there.
  kick() {
    this.notBefore = 0;
    if (this.queue.items.size) this.pump();
    else if (!this.pause && (this.fails || !this.connection.ready)) this.greet();
  }

  pump() {
    clearTimeout(this.timer);
    const wait = this.notBefore - Date.now();
    if (wait > 0) this.timer = setTimeout(() => this.pump(), wait);
    else if (!this.pause && this.queue.items.size) {
      if (this.connection.ready) this.launch();
      else this.greet();
    }
  }

  launch() {
    const { claimed, flying, queue } = this;
    while (claimed.length && flying.size < (this.fails ? 1 : ABREAST)) {
      const batch = claimed.splice(0, this.fails ? 1 : TOGETHER).filter(({ id }) => queue.items.has(id));
      if (!batch.length) continue;
      flying.add(batch);
      this.fly(batch).finally(() => {
        flying.delete(batch);
        this.changed();
        this.pump();
      });
    }
    if (!claimed.length && !this.claiming) this.claim();
  }

  async claim() {
    const wanted = this.queue.take(this.fails ? 1 : CLAIM_AT_ONCE);
    if (!wanted.length) return;
    this.claiming = true;
    const ids = wanted.map(({ id }) => id);
    const answers = await this.store.claimActs(ids, this.tab, Date.now(), LEASE_MS).catch((error) => this.trouble(error));
    this.claiming = false;
    for (const item of wanted) {
      const answer = answers?.get(item.id);
      if (answer === "mine") this.claimed.push(item);
      else if (answer === "gone") this.finish(item.id, null);
      // Another tab sends it and will tell; else it is tried again.
      else setTimeout(() => this.hear({ back: item.id }), 1000);
    }
    this.pump();
  }

  // Each act lands by an answer of its own; after a failure they go one at a time, so that one bad act does not hold up the others.
  async fly(batch) {
    const answers = await (batch.length > 1 ? this.sendAll(batch) : this.sendOne(batch[0]));
    const fates = new Set();
    for (const [at, item] of batch.entries()) fates.add(this.land(item, answers[at] ?? { status: 0 }));
    for (const fate of ["sign_in", "revoked"]) if (fates.has(fate)) return this.stop(fate);
    if (fates.has("csrf") || fates.has("other_database")) this.connection.ready = false;
    if ([...fates].some((fate) => fate !== "done" && fate !== "park")) this.failed();
    return undefined;
  }

  // No answer, half an answer, a redirect: all the same, the act is sent again.
  async sendOne({ id, body }) {
    return [await this.connection.ask("PUT", `/api/acts/${id}`, { body })];
  }

  async sendAll(batch) {
    const acts = batch.map(({ id, body }) => ({ id, body }));
    const whole = await this.connection.ask("POST", "/api/acts", { body: { acts } });
    return whole.status === 200 && Array.isArray(whole.json?.answers) ? whole.json.answers : batch.map(() => forAll(whole));
  }

  land(item, { status, json }) {
    const { what, problem } = classify(status, json, item.id, this.connection.database);
    if (what === "done") this.settle(item, json);
    else if (what === "park") this.park(item, problem);
    else this.queue.putBack(item.id);
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
      const error = await this.store.acknowledge(now, Date.now()).then(() => null, (refused) => refused);
      if (error) this.notWritten(now, error);
      else {
        this.share({ done: now.map(({ item, receipt }) => ({ id: item.id, receipt })) });
        for (const { item, receipt } of now) this.finish(item.id, receipt);
      }
    }
    this.writing = null;
    this.pump();
  }

  // Sent again, and answered the same.
  notWritten(settled, error) {
    for (const { item } of settled) this.queue.putBack(item.id);
    this.failed();
    this.trouble(error);
  }

  finish(id, receipt) {
    const item = this.queue.items.get(id);
    this.queue.done(id);
    if (item) this.tell({ type: "receipt", item, receipt });
  }

  async park(item, problem) {
    this.queue.park(item.id, problem);
    // Not written: it is parked here until the page is opened again, and then sent and refused once more.
    const error = await this.store.put("outbox", { ...item, claim: null }).then(() => null, (refused) => refused);
    this.share({ parked: item.id, problem });
    this.tell({ type: "parked", item, error });
  }

  // A person says: send it again.
  async retry(id) {
    const item = this.queue.items.get(id);
    if (item?.state !== "parked") return;
    this.queue.unpark(id);
    await this.store.put("outbox", { ...item, claim: null });
    this.share({ freed: id });
    this.changed();
    this.kick();
  }

  // A person says: this one is not to be sent. It stays in the kept week and in the file, with the reason.
  async setAside(id, reason) {
    const item = this.queue.items.get(id);
    if (item?.state === "parked") await this.settle(item, { aside: reason, problem: item.problem });
    this.changed();
    this.kick();
  }

  failed() {
    this.giveBack();
    this.fails += 1;
    this.notBefore = Date.now() + backoff(this.fails, Math.random());
  }

  stop(why) {
    this.giveBack();
    this.pause = why;
    this.tell({ type: "pause", why });
  }

  giveBack() {
    for (const { id } of this.claimed.splice(0)) this.queue.putBack(id);
  }

  // Asks the server who it is. Nothing is sent before the answer, and nothing to a database that is not ours.
  greet() {
    this.greeting ??= this.connection
      .session()
      .then((session) => this.met(session))
      .catch((error) => this.notMet(error))
      .finally(() => {
        this.greeting = null;
        this.changed();
        this.pump();
      });
    return this.greeting;
  }

  notMet(error) {
    if (error.problem?.code === "revoked") return this.stop("revoked");
    this.failed();
    return error.status === undefined && this.trouble(error);
  }

  async met({ user, moved }) {
    this.answered();
    this.pause = null;
    this.tell({ type: "session" });
    if (!this.connection.ready) return this.stop("other_database");
    if (!user && !this.connection.token) return this.stop("sign_in");
    for (const item of [...this.queue.items.values()]) if (user && freedBy(item, user.username)) await this.retry(item.id);
    const last = (await this.store.get("settings", "reconciled")) ?? 0;
    if (moved || Date.now() - last > HOUR_MS) await this.reconcile(this);
    return undefined;
  }
}
