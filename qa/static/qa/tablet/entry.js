// The check at the fuselage: one reading to take is largest, its verdict comes at once, and the page goes on by itself.
import { beside } from "./beside.js";
import { BAD, WORDS, measured, shows, told } from "./check.js";
import { ask, el, hour, say, stamp, touch, trouble, why } from "./dom.js";
import { sign } from "./map.js";
import { emptyPad, keyOf, press, recalled, typedInto } from "./pad.js";
import { UNITS, parseLength, tellLength } from "./parse.js";
import { speak } from "./speak.js";
import { judge, looksLikeASlip, stateOf } from "./verdict.js";
import { neighbor, nextOpen } from "./walk.js";
import { hear, quiet } from "./wedge.js";

// A disk that is asked much by others may take its time; longer than this, the person is told.
const SLOW_MS = 1500;
const NOTHING = { value: "", unit: "", goes: "", does_not_go: "" };

// desk: {check, slots, unit, settings, view(), record(form, said), moved(), full(), nameOf(username), keep(settings), photo(about, words), photoOf(slot)}
export function openEntry(desk) {
  const { slots } = desk;
  let at = nextOpen(slots, desk.view().done) ?? slots[0];
  let pad = emptyPad(desk.unit);
  // Two leaves for one gap; the feeler stays in the hand until it is put off, also past places that need another gauge.
  let pair = newPair();
  let last = null;
  let wedge = quiet();
  let slip = "";
  // While an act is being kept, what is done waits here and comes next: a hand or a gauge is faster than a slow disk.
  let busy = false;
  let ahead = [];
  let shownText = "";

  const ui = stamp("desk", {
    back: () => soon(() => go(neighbor(slots, at.key, -1))),
    forward: () => soon(() => go(neighbor(slots, at.key, 1))),
    key: ({ dataset }) => type(dataset.key),
    undo: () => inTurn(undo),
    clear: () => inTurn(clear),
    skip: () => inTurn(skip),
    feeler: () => soon(turnFeeler),
    unit: () => soon(turnUnit),
    photo: () => desk.photo({ station: at.station, kind: at.kind }, `station ${name()}`),
    photoOf: () => desk.photoOf(at),
    goes: () => soon(() => setField("goes")),
    does_not_go: () => soon(() => setField("does_not_go")),
    choose: ({ value }) => inTurn(() => choose(slotHere().alive.find((one) => one.act === value))),
  });
  ui.input.oninput = () => (busy ? paintReading() : type({ text: typedInto(pad.marked || !pad.text ? shownText : "", ui.input.value) }));

  const slotHere = () => desk.view().slot(at.station, at.kind);
  const limits = () => desk.check.stations.find((one) => one.label === at.station)[at.kind];
  const name = () => `${at.station} ${at.kind}`;
  const after = () => nextOpen(slots, desk.view().done, at.key);
  const record = (form, said) => desk.record(form, { station: at.station, kind: at.kind, ...said });
  // In words, as on every page: whether the person ever stood up for it.
  const doubt = ({ authorship }) => (["claimed", "disowned"].includes(authorship) ? ` (${authorship})` : "");
  const signed = (one) => `${desk.nameOf(one.by)}${doubt(one)}, ${hour(one.made_at)}`;

  function go(slot, words = "") {
    at = slot;
    slip = "";
    startPlace(pad.unit);
    paint();
    desk.moved();
    say(`${words}${words && " Now station"} ${name()}.`);
  }

  function newPair() {
    return desk.settings.feeler && at.kind === "gap" ? { goes: "", does_not_go: "", field: "goes" } : null;
  }

  function startPlace(unit) {
    pad = emptyPad(unit);
    pair = newPair();
  }

  // At once, or when what is being kept is kept: always in the order in which a person did it.
  const soon = (work) => (busy ? ahead.push(work) : work());

  // work resolves to what to complain about; then nothing may be added to a value that still stands.
  async function inTurn(work) {
    if (busy) return void ahead.push(() => inTurn(work));
    busy = true;
    const problem = await work().catch(trouble);
    busy = false;
    if (problem) complain(problem);
    const next = problem && pad.text ? [] : ahead;
    ahead = [];
    for (const one of next) soon(one);
  }

  // A station was touched on the map or in the list: its first open kind, else its first.
  function visit(label, kind) {
    const here = slots.filter((slot) => slot.station === label && (!kind || slot.kind === kind));
    const slot = here.find(({ key }) => !desk.view().done.has(key)) ?? here[0];
    if (slot) go(slot);
  }

  // key: of pad.js, "ok", or {gauge}: a value that a gauge typed before its Enter.
  function type(key) {
    if (key === "ok" || key.gauge) inTurn(() => accept(key.gauge));
    else soon(() => enter(key));
  }

  function enter(key) {
    const from = slotHere().current ?? (last?.said.kind === at.kind ? last.said : null);
    pad = press(pad, key, from?.unit === pad.unit ? from.value : "");
    if (pair) pair[pair.field] = pad.text;
    slip = "";
    paintReading();
  }

  // Keys from a keyboard or from a gauge that types, wherever the focus is.
  function keydown(event) {
    if (event.ctrlKey || event.metaKey || event.altKey || document.querySelector("dialog[open]")) return;
    const heard = hear(wedge, event.key, event.timeStamp);
    wedge = heard.wedge;
    const key = keyOf(event.key);
    const elsewhere = event.target !== ui.input && event.target.matches("button, a, [role=button]");
    if (heard.value !== null) {
      event.preventDefault();
      type({ gauge: heard.value });
    } else if (key && (key !== "ok" || heard.held || !elsewhere)) {
      event.preventDefault();
      type(key);
    }
  }

  // Taken at once when the pad holds just what the gauge typed; with something else in it, a person looks first.
  function fromGauge(value) {
    const alone = [...value].reduce((state, key) => press(state, keyOf(key) ?? ""), emptyPad(pad.unit)).text === pad.text;
    const empty = pad.text === "";
    if (!alone) enter({ text: value });
    return alone || empty ? "" : `The gauge sent ${value}. OK keeps it.`;
  }

  async function accept(gauge) {
    return (gauge && fromGauge(gauge)) || (pair ? acceptPair() : acceptValue());
  }

  async function acceptValue() {
    const { text, unit } = pad;
    if (!text) return slotHere().current ? void go(after() ?? neighbor(slots, at.key, 1)) : "Type a value first.";
    const read = parseLength(text, unit);
    if (read.problem) return read.problem;
    if (looksLikeASlip(read.nm, limits()) && slip !== text) {
      slip = text;
      return `${text} ${unit} is far outside. OK once more keeps it.`;
    }
    return save({ outcome: "value", value: read.text, unit });
  }

  async function acceptPair() {
    const { unit } = pad;
    const goes = parseLength(pair.goes, unit);
    if (goes.problem) return "First the thickest leaf that goes.";
    const stops = parseLength(pair.does_not_go, unit);
    if (stops.problem) {
      setField("does_not_go");
      return "Now the leaf that does not go.";
    }
    if (stops.nm <= goes.nm) return "The leaf that does not go is the thicker one.";
    return save({ outcome: "feeler", goes: goes.text, does_not_go: stops.text, unit });
  }

  function complain(words) {
    ui.verdict.replaceChildren(el("strong", {}, words));
    say(words, true);
  }

  // What was typed becomes an act. Replacing a value asks why; replacing a skip or an emptied place says so itself.
  async function save(said) {
    const { alive, current } = slotHere();
    let { reason = "" } = said;
    if (alive.length > 1) return "Choose one of the two first.";
    if (current && !reason) {
      if (measured(current) && shows(current) === shows(said) && current.unit === said.unit) return void forward("The same value stands.");
      reason = measured(current) ? await why("why-new", name()) : `Measured after it was ${current.outcome}`;
      if (!reason) return null;
    }
    const slow = setTimeout(() => document.querySelector("dialog[open]") || complain("Still being kept \u2026"), SLOW_MS);
    const act = await record("reading/1", { ...NOTHING, ...said, supersedes: current?.act ?? null, reason }).finally(() => clearTimeout(slow));
    if (act) {
      last = { said: act.body.said, id: act.id };
      forward();
    }
    return null;
  }

  function forward(note) {
    const { current, state } = slotHere();
    const words = note ?? `Station ${name()}: ${told(current, state)}.`;
    ui.node.dataset.flash = state;
    setTimeout(() => delete ui.node.dataset.flash, 450);
    speak(words, desk.settings.aloud);
    if (BAD.includes(state)) {
      navigator.vibrate?.([60, 60, 60]);
      say(words, true);
    }
    const next = after();
    go(next ?? at, words);
    if (!next) desk.full();
  }

  async function skip() {
    const reason = await why("why-skip", name());
    return reason && save({ outcome: "skipped", reason });
  }

  async function clear() {
    if (pad.text) return void enter("clear");
    const reason = slotHere().state !== "not_measured" && (await why("why-clear", name()));
    return reason && save({ outcome: "cleared", reason });
  }

  // First what was typed, key by key; then the last saved reading, which comes back into the pad.
  async function undo() {
    if (pad.past.length) return void enter("undo");
    const { said, id } = last ?? { said: {} };
    const place = () => `${said.station} ${said.kind}: ${shows(said)} ${said.unit}`;
    const there = slots.find(({ station, kind }) => station === said.station && kind === said.kind);
    if (!there || desk.view().slot(said.station, said.kind).current?.act !== id) return "Nothing left to undo here.";
    if (!(await ask("take-back", { place: place() }))) return null;
    last = null;
    await desk.record("reading/1", { ...said, ...NOTHING, outcome: "cleared", supersedes: id, reason: "Undone at once" });
    go(there, "Taken back.");
    if (said.outcome === "value") recall(said);
    return null;
  }

  // The old value stands there marked; with the feeler in hand there is no field for it.
  function recall({ value, unit }) {
    if (pair) return;
    pad = recalled(emptyPad(unit), value);
    paint();
    say(`Taken back. ${value} is marked: the next key replaces it.`);
  }

  async function choose(one) {
    const reason = await why("why-choice", `${shows(one)} ${one.unit}`);
    if (reason && (await record("choose/1", { reading: one.act, reason }))) forward();
  }

  function turnFeeler() {
    desk.keep({ feeler: !desk.settings.feeler });
    startPlace(pad.unit);
    paint();
  }

  function setField(field) {
    pair.field = field;
    pad = recalled(emptyPad(pad.unit), pair[field]);
    paintReading();
  }

  function turnUnit() {
    startPlace(pad.unit === "mm" ? "in" : "mm");
    desk.keep({ unit: pad.unit });
    paint();
  }

  function paint() {
    const { unit } = pad;
    const { low_nm, high_nm } = limits();
    const [low, high] = [low_nm, high_nm].map((nm) => (nm === null ? "" : `${tellLength(nm, unit)} ${unit}`));
    const step = UNITS[unit].step.slice(1);
    ui.title.replaceChildren(el("b", {}, `Station ${at.station}`), at.kind === "flush" ? " flushness" : " gap");
    ui.limit.textContent = low && high ? `${low.replace(` ${unit}`, "")} to ${high}` : low ? `at least ${low}` : `at most ${high}`;
    ui.beside.textContent = beside(desk.check.beside?.find((one) => one.station === at.station && one.kind === at.kind), unit);
    ui.units.textContent = unit === "in" ? "inch" : "mm";
    ui.turn.textContent = unit === "mm" ? "inch" : "mm";
    ui.more.textContent = `+${step}`;
    ui.less.textContent = `\u2212${step}`;
    ui.feeler.ariaPressed = Boolean(desk.settings.feeler);
    ui.feeler.disabled = at.kind !== "gap";
    ui.input.ariaLabel = `${at.kind} at station ${at.station} in ${ui.units.textContent}`;
    const { alive } = slotHere();
    ui.rivals.hidden = alive.length < 2;
    ui.two.replaceChildren(...alive.map((one) => touch("choose", [el("b", {}, `${shows(one)} ${one.unit}`), el("small", {}, signed(one))], { value: one.act })));
    paintReading();
  }

  const unsaved = () => Boolean(pad.text || pair?.goes || pair?.does_not_go);

  function paintReading() {
    const { current, state } = slotHere();
    const { text, unit } = pad;
    const saved = !unsaved() && current && state !== "not_measured";
    const read = parseLength(text, unit);
    const live = !pair && !read.problem && judge(read.nm, limits());
    const shown = live ? stateOf(live.verdict, live.deviation_nm) : saved ? state : "not_measured";
    ui.input.hidden = Boolean(pair);
    ui.pairs.hidden = !pair;
    for (const field of pair ? ["goes", "does_not_go"] : []) {
      ui[field].textContent = pair[field] || (saved && current[field]) || "–";
      ui[field].parentNode.ariaPressed = pair.field === field;
    }
    ui.input.value = shownText = saved && current.outcome === "value" ? current.value : text;
    ui.reading.classList.toggle("saved", Boolean(saved));
    ui.reading.classList.toggle("marked", pad.marked);
    ui.reading.dataset.state = shown;
    const words = live ? told({ ...live, unit }, shown) : saved ? told({ ...current, outcome: pair || current.outcome === "feeler" ? current.outcome : "" }, state) : WORDS.not_measured;
    ui.verdict.replaceChildren(...(text && !live ? [] : [sign(shown), words]));
    paintLast();
  }

  function paintLast() {
    const { current, state } = slotHere();
    ui.last.replaceChildren();
    // Never "saved" under a number that is not.
    if (unsaved()) {
      const stands = measured(current) ? ` ${shows(current)} ${current.unit} stands.` : "";
      ui.last.append(`${pad.marked ? "Marked: a key replaces it." : "Not saved: OK saves it."}${stands}`);
    } else if (current && state !== "not_measured") {
      const how = current.problem ? `needs you: ${current.problem.message}` : current.provisional ? "on this tablet, verdict provisional" : "saved";
      ui.last.append([`${signed(current)}: ${how}`, current.reason].filter(Boolean).join("; "));
    } else if (last) {
      const { station, kind } = last.said;
      const slot = desk.view().slot(station, kind);
      if (slot.current) ui.last.append(sign(slot.state), el("span", {}, el("b", {}, `${station} ${kind}`), ` ${told(slot.current, slot.state)}`));
    }
  }

  paint();
  return { node: ui.node, visit: (...place) => soon(() => visit(...place)), keydown, paint: () => busy || paint(), at: () => at, typing: () => busy || pad.text };
}
