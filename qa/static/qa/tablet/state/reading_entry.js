// What is being entered at the station in hand: the pad, the feeler pair, and what a person does, in the order in which it was done.
import { emptyPad, hear, keyOf, press, quiet, recalled } from "../core/key_input.js";
import { parseLength } from "../core/lengths.js";
import { describe, isOutside, looksLikeASlip, measured, shows } from "../core/readings.js";
import { neighbor, nextOpen } from "../core/station_order.js";

// A disk that is asked much by others may take its time; longer than this, the person is told.
const SLOW_MS = 1500;
export const NOTHING = { value: "", unit: "", goes: "", does_not_go: "" };

// What hears a keyboard or a gauge that types, and is handed their keys: type(key of number_pad.js, "ok", or {gauge}: a value that a gauge typed before its Enter).
export class Typing {
  burst = quiet();

  // elsewhere: Enter means something to what has the focus. True when the key is ours.
  keydown(name, at, elsewhere) {
    const { burst, value, held } = hear(this.burst, name, at);
    this.burst = burst;
    const key = keyOf(name);
    if (value !== null) this.type({ gauge: value });
    else if (key && (key !== "ok" || held || !elsewhere)) this.type(key);
    else return false;
    return true;
  }
}

export class ReadingEntry extends Typing {
  // session: see check_session.js. desk: what shows it and asks, see screens/desk.js.
  constructor(session, desk) {
    super();
    Object.assign(this, { session, desk, last: null, slip: "", busy: false, ahead: [] });
    this.at = nextOpen(session.slots, session.view().done) ?? session.slots[0];
    this.startPlace(session.unit);
  }

  get name() {
    return `${this.at.station} ${this.at.kind}`;
  }

  slot({ station, kind } = this.at) {
    return this.session.view().slot(station, kind);
  }

  limits() {
    return this.session.check.stations.find(({ label }) => label === this.at.station)[this.at.kind];
  }

  next() {
    return nextOpen(this.session.slots, this.session.view().done, this.at.key);
  }

  neighbor(by) {
    return neighbor(this.session.slots, this.at.key, by);
  }

  record(form, content) {
    return this.session.record(form, { station: this.at.station, kind: this.at.kind, ...content });
  }

  isUnsaved() {
    return Boolean(this.pad.text || this.pair?.goes || this.pair?.does_not_go);
  }

  go(slot, words = "") {
    this.at = slot;
    this.slip = "";
    this.startPlace(this.pad.unit);
    this.desk.moved();
    this.desk.say(`${words}${words && " Now station"} ${this.name}.`);
  }

  // A station was touched on the map or in the list: its first open kind, else its first.
  visit(label, kind) {
    const here = this.session.slots.filter((slot) => slot.station === label && (!kind || slot.kind === kind));
    const slot = here.find(({ key }) => !this.session.view().done.has(key)) ?? here[0];
    if (slot) this.go(slot);
  }

  // Two leaves for one gap; the feeler stays in the hand until it is put off, also past places that need another gauge.
  startPlace(unit) {
    this.pad = emptyPad(unit);
    this.pair = this.session.tablet.settings.feeler && this.at.kind === "gap" ? { goes: "", does_not_go: "", field: "goes" } : null;
  }

  // At once, or when what is being kept is kept: a hand or a gauge is faster than a slow disk.
  soon(work) {
    return this.busy ? this.ahead.push(work) : work();
  }

  // work resolves to what to complain about; then nothing may be added to a value that still stands.
  async inTurn(work) {
    if (this.busy) return void this.ahead.push(() => this.inTurn(work));
    this.busy = true;
    const problem = await work().catch(this.desk.trouble);
    const ahead = this.ahead.splice(0);
    const lost = problem && this.pad.text ? ahead.splice(0) : [];
    this.busy = false;
    if (problem) this.desk.complain(lost.length ? `${problem.replace(/\.$/, "")}. What came after it was not taken.` : problem);
    for (const waiting of ahead) this.soon(waiting);
  }

  type(key) {
    if (key === "ok" || key.gauge) this.inTurn(() => this.accept(key.gauge));
    else this.soon(() => this.enter(key));
  }

  enter(key) {
    const from = this.slot().current ?? (this.last?.said.kind === this.at.kind ? this.last.said : null);
    this.pad = press(this.pad, key, from?.unit === this.pad.unit ? from.value : "");
    if (this.pair) this.pair[this.pair.field] = this.pad.text;
    this.slip = "";
    this.desk.paintReading();
  }

  setField(field) {
    this.pair.field = field;
    this.pad = recalled(emptyPad(this.pad.unit), this.pair[field]);
    this.desk.paintReading();
  }

  turnFeeler() {
    this.session.tablet.keep({ feeler: !this.session.tablet.settings.feeler });
    this.startPlace(this.pad.unit);
    this.desk.paint();
  }

  turnUnit() {
    this.startPlace(this.pad.unit === "mm" ? "in" : "mm");
    this.session.tablet.keep({ unit: this.pad.unit });
    this.desk.paint();
  }

  async accept(gauge) {
    return (gauge && this.fromGauge(gauge)) || (this.pair ? this.acceptPair() : this.acceptValue());
  }

  // Taken at once when the pad holds just what the gauge typed; with something else in it, a person looks first.
  fromGauge(value) {
    const { text, unit } = this.pad;
    const alone = [...value].reduce((pad, key) => press(pad, keyOf(key) ?? ""), emptyPad(unit)).text === text;
    if (!alone) this.enter({ text: value });
    return alone || !text ? "" : `The gauge sent ${value}. OK keeps it.`;
  }

  async acceptValue() {
    const { text, unit } = this.pad;
    if (!text) return this.slot().current ? void this.go(this.next() ?? this.neighbor(1)) : "Type a value first.";
    const read = parseLength(text, unit);
    if (read.problem) return read.problem;
    const { instrument } = this.session.check;
    const slip = isOutside(read.nm, instrument) ? instrument.reads : looksLikeASlip(read.nm, this.limits()) && `${text} ${unit} is far outside.`;
    if (slip && this.slip !== text) {
      this.slip = text;
      return `${slip} OK once more keeps it.`;
    }
    return this.save({ outcome: "value", value: read.text, unit });
  }

  async acceptPair() {
    const { unit } = this.pad;
    const goes = parseLength(this.pair.goes, unit);
    if (goes.problem) return "First the thickest leaf that goes.";
    const stops = parseLength(this.pair.does_not_go, unit);
    if (stops.problem) {
      this.setField("does_not_go");
      return "Now the leaf that does not go.";
    }
    if (stops.nm <= goes.nm) return "The leaf that does not go is the thicker one.";
    return this.save({ outcome: "feeler", goes: goes.text, does_not_go: stops.text, unit });
  }

  // What was typed becomes an act. Replacing a value asks why; replacing a skip or an emptied place says so itself.
  async save(typed) {
    const { alive, current } = this.slot();
    let { reason = "" } = typed;
    if (alive.length > 1) return "Choose one of the two first.";
    if (current && !reason) {
      if (measured(current) && shows(current) === shows(typed) && current.unit === typed.unit) return void this.forward("The same value stands.");
      reason = measured(current) ? await this.desk.why("why-new", this.name) : `Measured after it was ${current.outcome}`;
      if (!reason) return null;
    }
    const slow = setTimeout(() => this.desk.slow(), SLOW_MS);
    const act = await this.record("reading/1", { ...NOTHING, ...typed, supersedes: current?.act ?? null, reason }).finally(() => clearTimeout(slow));
    if (act) {
      this.last = { said: act.body.said, id: act.id };
      this.forward();
    }
    return null;
  }

  forward(note) {
    const { current, state } = this.slot();
    const words = note ?? `Station ${this.name}: ${describe(current, state)}.`;
    this.desk.kept(words, state);
    const next = this.next();
    this.go(next ?? this.at, words);
    if (!next) this.desk.ended();
  }

  async skip() {
    const reason = await this.desk.why("why-skip", this.name);
    return reason && this.save({ outcome: "skipped", reason });
  }
}
