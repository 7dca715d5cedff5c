// Sends the acts of this tablet, each as one fact, however often the network, the server or the tablet fails on the way.
// An act leaves the outbox for one reason only: a receipt that carries its id and the id of our database.
import { LEASE_MS, TIMEOUT_MS, backoff, classify, freedBy } from "./protocol.js";
import { Queue } from "./queue.js";
import { newId } from "./uuid.js";

const ABREAST = 4;
const ASK_AT_ONCE = 500;
const HOUR_MS = 3600 * 1000;

export class Outbox {
  // link: {session(), ask(method, path, body)}, see link.js. tell(event): {type, item?, receipt?}.
  constructor({ store, link, channel, tell, now = Date.now, random = Math.random }) {
    Object.assign(this, { store, link, channel, tell, now, random });
    this.tab = newId();
    this.queue = new Queue();
    this.flying = new Set();
    this.fails = 0;
    this.notBefore = 0;
    this.pause = null;
    this.timer = 0;
    this.lastContact = null;
    if (channel) channel.onmessage = ({ data }) => this.hear(data);
  }

  async open() {
    for (const item of await this.store.acts()) if (!this.queue.items.has(item.id)) this.queue.admit(item);
    this.changed();
    this.kick();
  }

  // Keeps the act on the tablet; resolves when it is on disk, long before it is sent.
  async add(form, by, said) {
    const body = { form, by, made_at: new Date(this.now()).toISOString(), device: this.link.device, seq: 0, said };
    const item = await this.store.addAct({ id: newId(), body, state: "waiting", problem: null, tries: 0 });
    this.queue.admit(item);
    this.channel?.postMessage({ added: item });
    this.tell({ type: "added", item });
    this.changed();
    this.kick();
    return item;
  }

  // Another tab of the same tablet did something to the common store.
  hear({ added, done, receipt, parked, problem, freed, back }) {
    if (added && !this.queue.items.has(added.id)) this.queue.admit(added);
    if (done) this.finish(done, receipt);
    if (parked) this.queue.park(parked, problem);
    if (freed) this.queue.unpark(freed);
    if (back) this.queue.putBack(back);
    this.changed();
    this.pump();
  }

  // Something happened that may have brought the server back: try at once.
  kick() {
    this.notBefore = 0;
    this.pump();
  }

  pump() {
    clearTimeout(this.timer);
    const wait = this.notBefore - this.now();
    if (wait > 0) {
      this.timer = setTimeout(() => this.pump(), wait);
      return;
    }
    if (this.pause || !this.queue.items.size) return;
    if (!this.link.ready) {
      this.greet();
      return;
    }
    while (this.flying.size < (this.fails ? 1 : ABREAST)) {
      const item = this.queue.take();
      if (!item) return;
      this.flying.add(item.id);
      this.fly(item).finally(() => {
        this.flying.delete(item.id);
        this.changed();
        this.pump();
      });
    }
  }

  async fly(item) {
    const claim = await this.store.claimAct(item.id, this.tab, this.now(), LEASE_MS);
    if (claim === "gone") return this.finish(item.id, null);
    if (claim === "taken") {
      // By another tab, which will tell; else it is tried again.
      setTimeout(() => this.hear({ back: item.id }), 1000);
      return undefined;
    }
    let answer = { status: 0, json: null };
    try {
      answer = await this.link.ask("PUT", `/api/acts/${item.id}`, item.body, TIMEOUT_MS);
    } catch {
      // No answer, half an answer, a redirect: all the same, the act is sent again.
    }
    return this.took(item, answer, classify(answer.status, answer.json, item.id, this.link.database));
  }

  async took(item, answer, { what, problem }) {
    if (what === "done") {
      this.fails = 0;
      this.lastContact = this.now();
      return this.settle(item, answer.json);
    }
    if (what === "park") {
      this.fails = 0;
      return this.park(item, problem);
    }
    this.queue.putBack(item.id);
    if (what === "sign_in" || what === "revoked") return this.stop(what);
    if (what === "csrf" || what === "other_database") this.link.ready = false;
    return this.failed();
  }

  async settle(item, receipt) {
    await this.store.acknowledge(item, receipt, this.now());
    this.channel?.postMessage({ done: item.id, receipt });
    this.finish(item.id, receipt);
  }

  finish(id, receipt) {
    const item = this.queue.items.get(id);
    this.queue.done(id);
    if (item) this.tell({ type: "receipt", item, receipt });
  }

  async park(item, problem) {
    this.queue.park(item.id, problem);
    await this.share(item, { parked: item.id, problem });
    this.tell({ type: "parked", item });
  }

  // A person says: send it again.
  async retry(id) {
    const item = this.queue.items.get(id);
    if (item?.state !== "parked") return;
    this.queue.unpark(id);
    await this.share(item, { freed: id });
    this.changed();
    this.kick();
  }

  async share(item, message) {
    await this.store.put("outbox", { ...item, claim: undefined });
    this.channel?.postMessage(message);
  }

  // A person says: this one is not to be sent. It stays in the kept week and in the file, with the reason.
  async setAside(id, reason) {
    const item = this.queue.items.get(id);
    if (item?.state !== "parked") return;
    await this.settle(item, { aside: reason, problem: item.problem });
    this.changed();
    this.kick();
  }

  failed() {
    this.fails += 1;
    this.notBefore = this.now() + backoff(this.fails, this.random());
  }

  stop(why) {
    this.pause = why;
    this.tell({ type: "pause", why });
  }

  // Asks the server who it is. Nothing is sent before the answer, and nothing to a database that is not ours.
  async greet() {
    if (this.greeting) return this.greeting;
    this.greeting = this.link
      .session()
      .then((found) => this.met(found))
      .catch(({ status }) => (status === 401 ? this.stop("revoked") : this.failed()))
      .finally(() => {
        this.greeting = null;
        this.changed();
        this.pump();
      });
    return this.greeting;
  }

  async met({ user, moved }) {
    this.lastContact = this.now();
    this.fails = 0;
    this.tell({ type: "session" });
    if (!this.link.ready) return this.stop("other_database");
    if (this.pause === "other_database" || (this.pause === "sign_in" && user) || (this.pause === "revoked" && this.link.token)) this.pause = null;
    if (!user && !this.link.token) return this.stop("sign_in");
    for (const item of [...this.queue.items.values()]) if (user && freedBy(item, user.username)) await this.retry(item.id);
    const last = (await this.store.get("settings", "reconciled")) ?? 0;
    if (moved || this.now() - last > HOUR_MS) await this.reconcile();
    return undefined;
  }

  // After a restore from backup the server may lack what it once acknowledged: what is missing goes again.
  async reconcile() {
    const ids = (await this.store.all("sent")).filter((row) => row.receipt?.entry).map((row) => row.id);
    for (let at = 0; at < ids.length; at += ASK_AT_ONCE) {
      const { status, json } = await this.link.ask("POST", "/api/have", { ids: ids.slice(at, at + ASK_AT_ONCE) }, TIMEOUT_MS);
      if (status !== 200 || json?.database !== this.link.database) return;
      const back = await this.store.bringBack(json.missing);
      back.sort((a, b) => a.seq - b.seq).forEach((item) => this.queue.admit(item));
    }
    await this.store.put("settings", this.now(), "reconciled");
    await this.store.forgetOldSent(this.now());
  }

  changed() {
    this.tell({ type: "counts", ...this.queue.counts(), pause: this.pause, failing: this.fails > 0 });
  }
}
