// What a person does about a reading that is saved: empties its place, takes it back, or chooses one of two.
import { emptyPad, recalled } from "../core/key_input.js";
import { shows } from "../core/readings.js";
import { NOTHING } from "./reading_entry.js";

// Each resolves to what to complain about, if anything.
export async function emptyPlace(entry) {
  const reason = entry.slot().state !== "not_measured" && (await entry.desk.why("why-clear", entry.name));
  return reason && entry.save({ outcome: "cleared", reason });
}

// The last reading that was saved here, which comes back into the pad.
export async function takeBack(entry) {
  const { said, id } = entry.last ?? { said: {} };
  const there = entry.session.slots.find(({ station, kind }) => station === said.station && kind === said.kind);
  if (!there || entry.slot(said).current?.act !== id) return "Nothing left to undo here.";
  if (!(await entry.desk.ask("take-back", { place: `${said.station} ${said.kind}: ${shows(said)} ${said.unit}` }))) return null;
  entry.last = null;
  await entry.session.record("reading/1", { ...said, ...NOTHING, outcome: "cleared", supersedes: id, reason: "Undone at once" });
  entry.go(there, "Taken back.");
  if (said.outcome === "value") recall(entry, said);
  return null;
}

// The old value stands there marked; with the feeler in hand there is no field for it.
function recall(entry, { value, unit }) {
  if (entry.pair) return;
  entry.pad = recalled(emptyPad(unit), value);
  entry.desk.paint();
  entry.desk.say(`Taken back. ${value} is marked: the next key replaces it.`);
}

// act: of the reading that stands.
export async function chooseReading(entry, act) {
  const reading = entry.slot().alive.find((alive) => alive.act === act);
  const reason = await entry.desk.why("why-choice", `${shows(reading)} ${reading.unit}`);
  if (reason && (await entry.record("choose/1", { reading: act, reason }))) entry.forward();
  return null;
}
