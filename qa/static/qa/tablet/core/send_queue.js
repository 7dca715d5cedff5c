// Which acts may go now. An act waits for the acts it names and for the one before it in its lane; nothing else holds it back,
// so one act that needs a person never stops the rest. Every step costs the same however many acts wait.

const NAMING = ["check", "fitup", "supersedes", "reading", "after"];
const CLOSING = new Set(["finish/1", "raise/1", "take/1", "set/1", "cut/1", "move/3"]);

// Acts that this one names; when one of them is still here, this one waits for it.
const named = (body) => NAMING.map((key) => body.said[key]).filter(Boolean);

// Acts of one lane keep their order among themselves; others may overtake.
function laneOf(body) {
  const { check, station, kind } = body.said;
  return station ? `${check}|${station}|${kind}` : null;
}

const closes = (body) => CLOSING.has(body.form);

export class SendQueue {
  constructor() {
    this.items = new Map();
    this.ready = [];
    this.waits = new Map();
    this.blocks = new Map();
    this.tails = new Map();
    this.ofCheck = new Map();
    this.parked = new Set();
  }

  // Acts come in the order of their numbers.
  admit(item) {
    this.items.set(item.id, item);
    const lane = laneOf(item.body);
    const check = item.body.said.check;
    const waits = new Map();
    const before = this.items.get(this.tails.get(lane));
    if (before && before.id !== item.id && before.state !== "parked") waits.set(before.id, "lane");
    for (const id of named(item.body)) if (this.items.has(id)) waits.set(id, "named");
    const fellows = this.ofCheck.get(check) ?? new Set();
    if (closes(item.body)) for (const id of fellows) if (id !== item.id) waits.set(id, "named");
    if (check) this.ofCheck.set(check, fellows.add(item.id));
    if (lane) this.tails.set(lane, item.id);
    if (item.state === "parked") this.parked.add(item.id);
    else this.hold(item.id, waits);
  }

  hold(id, waits) {
    if (waits.size === 0) {
      this.ready.push(id);
      return;
    }
    this.waits.set(id, waits);
    for (const other of waits.keys()) this.blocks.set(other, (this.blocks.get(other) ?? new Set()).add(id));
  }

  // The next acts that may go, at most so many.
  take(most) {
    const taken = [];
    while (this.ready.length && taken.length < most) {
      const item = this.items.get(this.ready.shift());
      if (item && item.state !== "parked") taken.push(item);
    }
    return taken;
  }

  // Failed on the way: behind all others, so that one bad act does not stop them.
  putBack(id) {
    if (this.items.has(id)) this.ready.push(id);
  }

  done(id) {
    const item = this.items.get(id);
    this.items.delete(id);
    this.parked.delete(id);
    if (!item) return;
    const fellows = this.ofCheck.get(item.body.said.check);
    fellows?.delete(id);
    if (fellows?.size === 0) this.ofCheck.delete(item.body.said.check);
    if (this.tails.get(laneOf(item.body)) === id) this.tails.delete(laneOf(item.body));
    this.release(id, true);
  }

  // A parked act lets its lane go on, but what names it still waits.
  park(id, problem) {
    const item = this.items.get(id);
    if (!item) return;
    item.state = "parked";
    item.problem = problem;
    this.parked.add(id);
    this.release(id, false);
  }

  unpark(id) {
    const item = this.items.get(id);
    if (item?.state !== "parked") return;
    item.state = "waiting";
    item.problem = null;
    this.parked.delete(id);
    const still = named(item.body).filter((other) => this.items.has(other));
    this.hold(id, new Map(still.map((other) => [other, "named"])));
  }

  release(id, gone) {
    for (const held of this.blocks.get(id) ?? []) {
      const waits = this.waits.get(held);
      if (!waits || (!gone && waits.get(id) === "named")) continue;
      waits.delete(id);
      if (waits.size === 0) {
        this.waits.delete(held);
        this.ready.push(held);
      }
    }
    if (gone) this.blocks.delete(id);
  }

  waitsFor(id) {
    return [...(this.waits.get(id)?.keys() ?? [])];
  }

  counts() {
    return { unsent: this.items.size, parked: this.parked.size, oldest: this.items.values().next().value?.body.made_at ?? null };
  }
}
