// The check at the fuselage: one reading to take is largest, its verdict comes at once, and the page goes on by itself.
import { WORDS, shows, told } from "./check.js";
import { el, hour, say, stamp, why } from "./dom.js";
import { sign } from "./map.js";
import { emptyPad, keyOf, press } from "./pad.js";
import { UNITS, parseLength, tellLength } from "./parse.js";
import { speak } from "./speak.js";
import { judge, looksLikeASlip, stateOf } from "./verdict.js";
import { neighbor, nextOpen } from "./walk.js";
import { hear, quiet } from "./wedge.js";

const NOTHING = { value: "", unit: "", goes: "", does_not_go: "" };
const BAD = ["above", "below", "not_proven", "clash"];

export class Entry {
  // desk: {check, slots, unit, settings, view(), record(form, said), moved(), full(), nameOf(username), keepUnit(unit), photo(slot)}
  constructor(desk) {
    Object.assign(this, { desk, pad: emptyPad(desk.unit), pair: null, last: null, wedge: quiet(), slip: "", busy: false });
    this.at = nextOpen(desk.slots, desk.view().done) ?? desk.slots[0];
    const go = (by) => () => this.go(neighbor(desk.slots, this.at.key, by));
    Object.assign(this, stamp("desk", {
      back: go(-1),
      forward: go(1),
      key: (key) => this.press(key.dataset.key),
      undo: () => this.undo(),
      clear: () => this.clear(),
      skip: () => this.skip(),
      feeler: () => this.setPair(!this.pair),
      unit: () => this.turnUnit(),
      photo: () => desk.photo(this.at),
      goes: () => this.setField("goes"),
      does_not_go: () => this.setField("does_not_go"),
    }));
    this.input.oninput = () => this.press({ text: this.input.value });
  }

  get limits() {
    return this.desk.check.stations.find((one) => one.label === this.at.station)[this.at.kind];
  }

  get slot() {
    return this.desk.view().slot(this.at.station, this.at.kind);
  }

  go(slot, words = "") {
    this.at = slot;
    this.slip = "";
    this.pad = emptyPad(this.pad.unit);
    if (this.pair) this.setPair(slot.kind === "gap");
    this.paint();
    this.desk.moved();
    say(`${words}${words && " Now station"} ${slot.station} ${slot.kind}.`);
  }

  // A station was touched on the map or in the list: its first open kind, else its first.
  visit(label, kind) {
    const here = this.desk.slots.filter((slot) => slot.station === label && (!kind || slot.kind === kind));
    const slot = here.find(({ key }) => !this.desk.view().done.has(key)) ?? here[0];
    if (slot) this.go(slot);
  }

  press(key) {
    if (key === "ok") return void this.accept();
    if (this.busy) return;
    const last = this.slot.current ?? (this.last?.said.kind === this.at.kind ? this.last.said : null);
    this.pad = press(this.pad, key, last?.unit === this.pad.unit ? last.value : "");
    if (this.pair) this.pair[this.pair.field] = this.pad.text;
    this.slip = "";
    this.paintReading();
  }

  // Keys from a keyboard or from a gauge that types, wherever the focus is.
  keydown(event) {
    if (event.ctrlKey || event.metaKey || event.altKey || document.querySelector("dialog[open]")) return;
    const heard = hear(this.wedge, event.key, event.timeStamp);
    this.wedge = heard.wedge;
    const key = keyOf(event.key);
    const elsewhere = event.target !== this.input && event.target.matches("button, a, [role=button]");
    if (heard.value !== null) {
      event.preventDefault();
      this.press({ text: heard.value });
      this.accept();
    } else if (key && (key !== "ok" || heard.held || !elsewhere)) {
      event.preventDefault();
      this.press(key);
    }
  }

  async accept() {
    if (this.busy) return;
    this.busy = true;
    const problem = await (this.pair ? this.acceptPair() : this.acceptValue()).finally(() => (this.busy = false));
    if (problem) this.complain(problem);
  }

  async acceptValue() {
    const { text, unit } = this.pad;
    if (!text) {
      if (!this.slot.current) return "Type a value first.";
      return void this.go(nextOpen(this.desk.slots, this.desk.view().done, this.at.key) ?? neighbor(this.desk.slots, this.at.key, 1));
    }
    const read = parseLength(text, unit);
    if (read.problem) return read.problem;
    if (looksLikeASlip(read.nm, this.limits) && this.slip !== text) {
      this.slip = text;
      return `${text} ${unit} is far outside. OK once more keeps it.`;
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

  complain(words) {
    this.verdict.replaceChildren(el("strong", {}, words));
    say(words, true);
  }

  // What was typed becomes an act. Replacing a value asks why; replacing a skip or an emptied place says so itself.
  async save(said) {
    const { alive, current } = this.slot;
    let { reason = "" } = said;
    if (alive.length > 1) return "Choose one of the two first.";
    if (current && !reason) {
      const measured = current.outcome === "value" || current.outcome === "feeler";
      if (measured && shows(current) === shows(said) && current.unit === said.unit) return void this.forward("The same value stands.");
      reason = measured ? await why("why-new", `${this.at.station} ${this.at.kind}`) : `Measured after it was ${current.outcome}`;
      if (!reason) return null;
    }
    const act = await this.desk.record("reading/1", { station: this.at.station, kind: this.at.kind, ...NOTHING, ...said, supersedes: current?.act ?? null, reason });
    if (act) {
      this.last = { said: act.body.said, id: act.id };
      this.forward();
    }
    return null;
  }

  forward(note) {
    const { current, state } = this.slot;
    const words = note ?? `Station ${this.at.station} ${this.at.kind}: ${told(current, state)}.`;
    this.node.dataset.flash = state;
    setTimeout(() => delete this.node.dataset.flash, 450);
    speak(words, this.desk.settings.aloud);
    if (BAD.includes(state)) {
      navigator.vibrate?.([60, 60, 60]);
      say(words, true);
    }
    const next = nextOpen(this.desk.slots, this.desk.view().done, this.at.key);
    this.go(next ?? this.at, words);
    if (!next) this.desk.full();
  }

  async skip() {
    const reason = await why("why-skip", `${this.at.station} ${this.at.kind}`);
    if (reason) this.complain((await this.save({ outcome: "skipped", reason })) ?? "");
    this.paintReading();
  }

  async clear() {
    if (this.pad.text) return void this.press("clear");
    if (this.slot.state === "not_measured") return;
    const reason = await why("why-clear", `${this.at.station} ${this.at.kind}`);
    if (reason) await this.save({ outcome: "cleared", reason });
  }

  // First what was typed, key by key; then the last saved reading, which comes back into the pad.
  async undo() {
    if (this.pad.past.length) return void this.press("undo");
    const { last } = this;
    const at = last && this.desk.slots.find(({ station, kind }) => station === last.said.station && kind === last.said.kind);
    if (!at || this.desk.view().slot(at.station, at.kind).current?.act !== last.id) return void this.complain("Nothing left to undo here.");
    this.last = null;
    await this.desk.record("reading/1", { ...last.said, ...NOTHING, outcome: "cleared", supersedes: last.id, reason: "Undone at once" });
    this.go(at, "Undone.");
    if (last.said.outcome === "value") this.press({ text: last.said.value });
  }

  async choose(one) {
    const reason = await why("why-choice", `${shows(one)} ${one.unit}`);
    if (reason && (await this.desk.record("choose/1", { station: this.at.station, kind: this.at.kind, reading: one.act, reason }))) this.forward();
  }

  setPair(on) {
    this.pair = on && this.at.kind === "gap" ? { goes: "", does_not_go: "", field: "goes" } : null;
    this.pad = emptyPad(this.pad.unit);
    this.paint();
  }

  setField(field) {
    this.pair.field = field;
    this.pad = press(emptyPad(this.pad.unit), { text: this.pair[field] });
    this.paintReading();
  }

  turnUnit() {
    this.pad = emptyPad(this.pad.unit === "mm" ? "in" : "mm");
    this.desk.keepUnit(this.pad.unit);
    this.paint();
  }

  limitsText() {
    const { unit } = this.pad;
    const [low, high] = [this.limits.low_nm, this.limits.high_nm].map((nm) => nm !== null && tellLength(nm, unit));
    if (low === false) return `at most ${high} ${unit}`;
    return high === false ? `at least ${low} ${unit}` : `${low} to ${high} ${unit}`;
  }

  paint() {
    const { station, kind } = this.at;
    const { unit } = this.pad;
    const step = UNITS[unit].step.replace(/^0/, "");
    this.title.replaceChildren(el("b", {}, `Station ${station}`), ` ${kind === "flush" ? "flushness" : "gap"}`);
    this.limit.textContent = this.limitsText();
    this.units.textContent = unit === "in" ? "inch" : "mm";
    this.turn.textContent = unit === "mm" ? "inch" : "mm";
    this.more.textContent = `+${step}`;
    this.less.textContent = `−${step}`;
    this.feeler.setAttribute("aria-pressed", Boolean(this.pair));
    this.feeler.disabled = kind !== "gap";
    this.input.setAttribute("aria-label", `${kind} at station ${station} in ${this.units.textContent}`);
    this.paintRivals();
    this.paintLast();
    this.paintReading();
  }

  paintReading() {
    const { current, state } = this.slot;
    const { text, unit } = this.pad;
    const saved = !text && !this.pair && current && state !== "not_measured";
    const read = parseLength(text, unit);
    const live = !this.pair && !read.problem && judge(read.nm, this.limits);
    const shown = live ? stateOf(live.verdict, live.deviation_nm) : saved ? state : "not_measured";
    this.input.hidden = Boolean(this.pair);
    this.pairs.hidden = !this.pair;
    if (this.pair) {
      for (const name of ["goes", "does_not_go"]) {
        this[name].textContent = this.pair[name] || "–";
        this[name].parentNode.setAttribute("aria-pressed", this.pair.field === name);
      }
    }
    this.input.value = saved && current.outcome === "value" ? current.value : text;
    this.reading.classList.toggle("saved", Boolean(saved));
    this.reading.dataset.state = shown;
    const words = live ? told({ ...live, outcome: "", unit }, shown) : saved ? told({ ...current, outcome: current.outcome === "feeler" ? "feeler" : "" }, state) : WORDS.not_measured;
    this.verdict.replaceChildren(...(text && !live ? [] : [sign(shown), words]));
  }

  paintRivals() {
    const { alive } = this.slot;
    this.rivals.hidden = alive.length < 2;
    this.two.replaceChildren(...alive.map((one) => {
      const card = el("button", { type: "button", class: "button" }, el("b", {}, `${shows(one)} ${one.unit}`), el("small", {}, `${this.desk.nameOf(one.by)}, ${hour(one.made_at)}`));
      card.onclick = () => this.choose(one);
      return card;
    }));
  }

  paintLast() {
    const { current, state } = this.slot;
    this.last_line.replaceChildren();
    if (current && state !== "not_measured") {
      const how = current.problem ? `needs you: ${current.problem.message}` : current.provisional ? "on this tablet, verdict provisional" : "saved";
      this.last_line.append(`${this.desk.nameOf(current.by)}, ${hour(current.made_at)}: ${how}${current.reason && `; ${current.reason}`}`);
    } else if (this.last) {
      const { station, kind } = this.last.said;
      const slot = this.desk.view().slot(station, kind);
      if (slot.current) this.last_line.append(sign(slot.state), el("span", {}, el("b", {}, `${station} ${kind}`), ` ${told(slot.current, slot.state)}`));
    }
  }
}
