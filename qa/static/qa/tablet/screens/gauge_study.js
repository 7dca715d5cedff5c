// A gauge study turn by turn: where to read is told, what was read is shown to nobody before all is read.
import { emptyPad, press } from "../core/key_input.js";
import { parseLength } from "../core/lengths.js";
import { carry } from "../state/carried_data.js";
import { Typing } from "../state/reading_entry.js";
import { isAsked } from "./desk.js";
import { alarm, el, say, stamp, why } from "./dom.js";

export async function openStudy(tablet, id) {
  const { here } = await carry(tablet);
  const study = here?.studies?.find(({ uuid }) => uuid === id);
  if (!study) throw Error("This study is read, or is not on this tablet.");
  const screen = new StudyScreen(tablet, study, here.database);
  await screen.load();
  return screen;
}

class StudyScreen extends Typing {
  // acts: by turn the last act of this tablet, in the order in which they were made. again: why the next value replaces the one before.
  constructor(tablet, study, database) {
    super();
    const pad = emptyPad(tablet.settings.unit);
    const ui = stamp("study", {
      key: ({ dataset }) => this.type(dataset.key),
      undo: () => (this.pad.past.length ? this.type("undo") : this.readAgain()),
      unit: () => {
        const unit = this.pad.unit === "mm" ? "in" : "mm";
        this.take({ pad: emptyPad(unit) });
        tablet.keep({ unit });
      },
    });
    Object.assign(this, { tablet, study, database, pad, ui, node: ui.node, acts: new Map(), again: "", tail: Promise.resolve() });
    ui.title.textContent = study.label;
    ui.what.textContent = study.what;
    ui.page.href = study.url;
    ui.people.append(...study.people.map(() => el("option")));
    ui.people.selectedIndex = 1 + study.people.findIndex(({ username }) => username === tablet.connection.person);
    ui.people.onchange = () => this.take({ again: "", pad: emptyPad(this.pad.unit) });
  }

  // What was refused, or is not to be sent, was not read.
  async load() {
    const items = [...(await this.tablet.store.all("sent")), ...this.tablet.outbox.queue.items.values()];
    this.acts.clear();
    for (const item of items.sort((a, b) => a.seq - b.seq)) if (item.state !== "parked" && !item.receipt?.aside) this.keep(item);
    this.take({});
  }

  keep({ id, body: { said } }) {
    if (said.study !== this.study.uuid) return;
    this.acts.delete(said.turn);
    this.acts.set(said.turn, id);
  }

  // Of who measures: [number, place, whether it was read].
  turns() {
    return this.study.people[this.ui.people.selectedIndex - 1]?.turns ?? [];
  }

  left(turns = this.turns()) {
    return turns.filter(([turn, , read]) => !read && !this.acts.has(turn));
  }

  // One after the other: a hand or a gauge is faster than a slow disk.
  type(key) {
    this.tail = this.tail.then(() => this.enter(key)).catch(alarm);
  }

  async enter(key) {
    if (key.gauge) this.pad = press(this.pad, { text: key.gauge });
    else if (key !== "ok") return this.take({ pad: press(this.pad, key) });
    const { now, again, pad, study, database, tablet } = this;
    const { problem } = parseLength(pad.text, pad.unit);
    if (problem) return say(problem, true, true);
    const by = await tablet.person();
    if (!by) return undefined;
    const content = { study: study.uuid, turn: now[0], value: pad.text, unit: pad.unit, supersedes: this.acts.get(now[0]) ?? null, reason: again };
    // Heard of below.
    await tablet.outbox.add("study_value/1", by, content, database);
    this.take({ again: "", pad: emptyPad(pad.unit) });
    return say(this.now ? `Kept. Now ${this.now[1]}.` : "Kept.");
  }

  // The last one that this tablet kept of who measures.
  async readAgain() {
    const mine = this.turns();
    const now = [...this.acts.keys()].map((turn) => mine.find(([one]) => one === turn)).filter(Boolean).at(-1);
    if (!now) return say("Nothing was read here before.", true, true);
    const again = await why("why-new", now[1]);
    return again && this.take({ again, now });
  }

  take(changes) {
    Object.assign(this, changes);
    const { ui, study, again, pad } = this;
    for (const [person, { name, turns }] of study.people.entries()) ui.people.options[person + 1].text = `${name}: ${turns.length - this.left(turns).length} of ${turns.length}`;
    const left = this.left();
    // A turn that comes back does not take the place of the one in hand.
    if (!again && !left.includes(this.now)) [this.now] = left;
    ui.desk.hidden = !this.now;
    ui.done.hidden = study.people.some(({ turns }) => this.left(turns).length);
    ui.last.hidden = !again;
    ui.place.textContent = this.now?.[1];
    ui.value.textContent = pad.text || "\u2013";
    ui.units.textContent = pad.unit === "in" ? "inch" : "mm";
  }

  keydown(event) {
    const { key, timeStamp, target, ctrlKey, metaKey, altKey } = event;
    if (ctrlKey || metaKey || altKey || this.ui.desk.hidden || isAsked()) return;
    if (super.keydown(key, timeStamp, target.matches("button, a, select"))) event.preventDefault();
  }

  // What another tablet read is left to nobody here; what was begun for it is dropped.
  async tick() {
    const { json } = await this.tablet.connection.ask("GET", `/api/studies/${this.study.uuid}`);
    for (const turn of this.study.people.flatMap(({ turns }) => turns)) turn[2] ||= json?.read?.includes(turn[0]);
    const { now, again } = this;
    if (!now || again || this.left().includes(now)) return this.take({});
    this.take({ pad: emptyPad(this.pad.unit) });
    say(`${now[1]} was read elsewhere.`, true, true);
  }

  // This or another tab of this tablet.
  heard({ type, item }) {
    if (type === "parked") this.load();
    if (type !== "added") return;
    this.keep(item);
    this.take({});
  }

  place() {
    return this.study.label;
  }
}
