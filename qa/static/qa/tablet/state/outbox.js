// The acts of this tablet that the server does not have yet. What sends them is sender.js.
// An act leaves the outbox for one reason only: a receipt that carries its id and the id of our database.
import { SendQueue } from "../core/send_queue.js";

// A random (version 4, RFC 9562) id; crypto.randomUUID is missing on plain http, getRandomValues is not.
// The version and the variant have their digits; 120 bits are drawn.
export function newId() {
  const hex = Array.from(crypto.getRandomValues(new Uint8Array(16)), (byte) => byte.toString(16).padStart(2, "0")).join("");
  return hex.replace(/(.{8})(.{4}).(.{3}).(.{3})/, "$1-$2-4$3-8$4-");
}

export class Outbox {
  // channel joins the tabs of one browser; tab names this one, the same after a reload, so that what flew when the page went is ours at once.
  // tell(event): {type, item?, receipt?, why?, error?} on everything that happened.
  // load(name): a module of this layer that is not needed before something is sent.
  constructor({ store, connection, channel, tab, tell, load }) {
    Object.assign(this, { store, connection, channel, tab, tell, load, queue: new SendQueue(), pause: null, fails: 0, lastContact: null });
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

  // Resolves to what sends.
  start() {
    return (this.starting ??= this.load("sender").then(
      ({ Sender }) => (this.sender = new Sender(this)),
      (error) => {
        this.starting = null;
        throw error;
      },
    ));
  }

  // Asks the server who it is; without a network it is asked again later.
  async greet() {
    try {
      await (await this.start()).greet();
    } catch (error) {
      this.fails += 1;
      this.changed();
      if (!error.unanswered) this.trouble(error);
    }
  }

  // Something happened that may have brought the server back: try at once.
  kick() {
    if (this.sender) this.sender.kick();
    else this.greet();
  }

  // Keeps the act on the tablet; resolves when it is on disk, long before it is sent.
  // database: the one that what it names was learned from.
  async add(form, by, content, database = this.connection.database ?? "") {
    const { device } = this.connection;
    const body = { form, by, made_at: new Date().toISOString(), device, database, claimed: this.connection.isClaimed(by), seq: 0, said: content };
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
    this.sender?.pump();
  }

  finish(id, receipt) {
    const item = this.queue.items.get(id);
    this.queue.done(id);
    if (item) this.tell({ type: "receipt", item, receipt });
  }
}
