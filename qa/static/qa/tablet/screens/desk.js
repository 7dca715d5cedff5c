// The desk of a check at the fuselage: one reading to take is largest, its verdict comes at once, and the page goes on by itself.
import { typedInto } from "../core/key_input.js";
import { UNITS, parseLength, tellLimits } from "../core/lengths.js";
import { describe, judge, measured, referenceValues, shows, stateOf } from "../core/readings.js";
import { VERDICTS } from "../core/verdicts.js";
import { ReadingEntry } from "../state/reading_entry.js";
import { ask, el, hour, say, stamp, touch, trouble, why } from "./dom.js";
import { later } from "./later.js";
import { sign } from "./map.js";

export const isAsked = () => document.querySelector("dialog[open]");

// In words, as on every page: whether the person ever stood up for it.
const doubt = ({ authorship }) => (["claimed", "disowned"].includes(authorship) ? ` (${authorship})` : "");

// By the device's own voice, where it has one.
function speak(words) {
  if (!("speechSynthesis" in globalThis)) return;
  speechSynthesis.cancel();
  const speech = new SpeechSynthesisUtterance(words.replace(/[-−](?=\d)/g, "minus "));
  speech.lang = "en-US";
  speechSynthesis.speak(speech);
}

export class Desk {
  // screen: {moved(), ended()}: another place is in hand; there is no other.
  constructor(session, screen) {
    this.session = session;
    this.moved = () => {
      this.paint();
      screen.moved();
    };
    this.ended = screen.ended;
    const entry = (this.entry = new ReadingEntry(session, this));
    Object.assign(this, { say, why, ask, trouble, ui: stamp("desk", actsOf(entry)) });
    this.node = this.ui.node;
    this.ui.input.oninput = () => this.input();
    this.shown = "";
    this.paint();
  }

  input() {
    const { pad, busy } = this.entry;
    if (busy) this.paintReading();
    else this.entry.type({ text: typedInto(pad.marked || !pad.text ? this.shown : "", this.ui.input.value) });
  }

  // From a keyboard or from a gauge that types, wherever the focus is.
  keydown({ key, timeStamp, target, ctrlKey, metaKey, altKey }) {
    if (ctrlKey || metaKey || altKey || isAsked()) return false;
    const elsewhere = target !== this.ui.input && target.matches("button, a, [role=button]");
    return this.entry.keydown(key, timeStamp, elsewhere);
  }

  complain(words) {
    this.ui.verdict.replaceChildren(el("strong", {}, words));
    say(words, true);
  }

  slow() {
    if (!isAsked()) this.complain("Still being kept \u2026");
  }

  // Told to the corner of the eye, to the ear and to the hand.
  kept(words, state) {
    const { dataset } = this.node;
    dataset.flash = state;
    setTimeout(() => delete dataset.flash, 450);
    if (this.session.tablet.settings.aloud) speak(words);
    if (!VERDICTS[state].bad) return;
    navigator.vibrate?.([60, 60, 60]);
    say(words, true);
  }

  signed(reading) {
    return `${this.session.tablet.connection.nameOf(reading.by)}${doubt(reading)}, ${hour(reading.made_at)}`;
  }

  paint() {
    const { ui, entry, session } = this;
    const { at, pad } = entry;
    const { unit } = pad;
    const step = UNITS[unit].step.slice(1);
    const here = session.check.beside?.find(({ station, kind }) => station === at.station && kind === at.kind);
    ui.title.replaceChildren(el("b", {}, `Station ${at.station}`), at.kind === "flush" ? " flushness" : " gap");
    ui.limit.textContent = tellLimits(entry.limits(), unit);
    ui.reference.textContent = referenceValues(here, unit);
    ui.units.textContent = unit === "in" ? "inch" : "mm";
    ui.turn.textContent = unit === "mm" ? "inch" : "mm";
    ui.more.textContent = `+${step}`;
    ui.less.textContent = `\u2212${step}`;
    ui.feeler.ariaPressed = Boolean(session.tablet.settings.feeler);
    ui.feeler.disabled = at.kind !== "gap";
    ui.input.ariaLabel = `${at.kind} at station ${at.station} in ${ui.units.textContent}`;
    const { alive } = entry.slot();
    ui.rivals.hidden = alive.length < 2;
    ui.two.replaceChildren(...alive.map((reading) => touch("choose", [el("b", {}, `${shows(reading)} ${reading.unit}`), el("small", {}, this.signed(reading))], { value: reading.act })));
    this.paintReading();
  }

  paintReading() {
    const { ui, entry } = this;
    const { current, state } = entry.slot();
    const { pad, pair } = entry;
    const { text, unit } = pad;
    const saved = !entry.isUnsaved() && current && state !== "not_measured";
    const read = parseLength(text, unit);
    const live = !pair && !read.problem && judge(read.nm, entry.limits());
    const shown = live ? stateOf(live.verdict, live.deviation_nm) : saved ? state : "not_measured";
    ui.input.hidden = Boolean(pair);
    ui.pairs.hidden = !pair;
    for (const field of pair ? ["goes", "does_not_go"] : []) {
      ui[field].textContent = pair[field] || (saved && current[field]) || "–";
      ui[field].parentNode.ariaPressed = pair.field === field;
    }
    ui.input.value = this.shown = saved && current.outcome === "value" ? current.value : text;
    ui.reading.classList.toggle("saved", Boolean(saved));
    ui.reading.classList.toggle("marked", pad.marked);
    ui.reading.dataset.state = shown;
    const words = live ? describe({ ...live, unit }, shown) : saved ? describe({ ...current, outcome: pair || current.outcome === "feeler" ? current.outcome : "" }, state) : VERDICTS.not_measured.word;
    ui.verdict.replaceChildren(...(text && !live ? [] : [sign(shown), words]));
    ui.last.replaceChildren(...this.lastLine(current, state));
  }

  // Never "saved" under a number that is not.
  lastLine(current, state) {
    const { entry, session } = this;
    if (entry.isUnsaved()) {
      const stands = measured(current) ? ` ${shows(current)} ${current.unit} stands.` : "";
      return [`${entry.pad.marked ? "Marked: a key replaces it." : "Not saved: OK saves it."}${stands}`];
    }
    if (current && state !== "not_measured") {
      const how = current.problem ? `needs you: ${current.problem.message}` : current.provisional ? "on this tablet, verdict provisional" : "saved";
      return [[`${this.signed(current)}: ${how}`, current.reason].filter(Boolean).join("; ")];
    }
    if (!entry.last) return [];
    const { station, kind } = entry.last.said;
    const slot = session.view().slot(station, kind);
    return slot.current ? [sign(slot.state), el("span", {}, el("b", {}, `${station} ${kind}`), ` ${describe(slot.current, slot.state)}`)] : [];
  }

  // After a change elsewhere: never over what is being kept.
  refresh() {
    if (!this.entry.busy) this.paint();
  }

  isTyping() {
    return this.entry.busy || this.entry.pad.text;
  }
}

// What its buttons do. What is done about saved readings comes with its own module.
function actsOf(entry) {
  const { tablet } = entry.session;
  const correct = (verb, ...about) => entry.inTurn(async () => (await later("corrections"))[verb](entry, ...about));
  const photos = async (verb, ...about) => (await later("photo_capture"))[verb](tablet, ...about);
  return {
    back: () => entry.soon(() => entry.go(entry.neighbor(-1))),
    forward: () => entry.soon(() => entry.go(entry.neighbor(1))),
    key: ({ dataset }) => entry.type(dataset.key),
    // First what was typed, key by key.
    undo: () => entry.soon(() => (entry.pad.past.length ? entry.enter("undo") : correct("takeBack"))),
    clear: () => entry.soon(() => (entry.pad.text ? entry.enter("clear") : correct("emptyPlace"))),
    skip: () => entry.inTurn(() => entry.skip()),
    feeler: () => entry.soon(() => entry.turnFeeler()),
    unit: () => entry.soon(() => entry.turnUnit()),
    photo: () => photos("take", { check: entry.session.id, station: entry.at.station, kind: entry.at.kind }, `station ${entry.name}`),
    photoOf: () => photos("choose", entry.session.check, entry.at),
    goes: () => entry.soon(() => entry.setField("goes")),
    does_not_go: () => entry.soon(() => entry.setField("does_not_go")),
    choose: ({ value }) => correct("chooseReading", value),
  };
}
