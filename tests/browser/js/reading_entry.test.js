import assert from "node:assert/strict";
import { test } from "node:test";
import { CheckSession } from "../../../qa/static/qa/tablet/state/check_session.js";
import { chooseReading, emptyPlace, takeBack } from "../../../qa/static/qa/tablet/state/corrections.js";
import { ReadingEntry } from "../../../qa/static/qa/tablet/state/reading_entry.js";
import { FULL, aCheck, aTablet, told, until } from "./a_tablet.js";

// An entry at a check of three gaps, 1.50 to 3.00 mm; desk.told: what a person sees and hears; desk.answer: what a person says.
async function anEntry(check = aCheck()) {
  const tablet = await aTablet();
  await tablet.store.put("checks", { check: "c", json: check });
  const desk = { told: [], answer: "Misread", paint() {}, paintReading() {}, moved() {}, slow() {}, kept() {}, say() {}, ended: () => desk.told.push("ended"), complain: (words) => desk.told.push(words), trouble: (error) => error.message, why: async () => desk.answer, ask: async () => Boolean(desk.answer) };
  const session = new CheckSession(tablet, "c", () => {});
  const tell = tablet.events.push.bind(tablet.events);
  tablet.events.push = (event) => tell(event) && session.heard(event);
  return { tablet, desk, entry: new ReadingEntry(await session.open(), desk) };
}

const type = (entry, text) => [...text].forEach((key) => entry.type(key === "-" ? "sign" : key));
const ok = async (entry) => {
  entry.type("ok");
  await until(() => !entry.busy);
};
const standing = ({ session }) => ["1", "2", "3"].map((station) => session.view().slot(station, "gap").current?.value ?? null);

test("a value is kept and the next place comes by itself, until there is none", async () => {
  const { entry, desk } = await anEntry();
  for (const value of ["2.3", "2.4", "2.5"]) {
    type(entry, value);
    await ok(entry);
  }
  assert.deepEqual(standing(entry), ["2.3", "2.4", "2.5"]);
  assert.deepEqual(desk.told, ["ended"]);
});

test("what is done while the disk takes its time comes next, in its order", async () => {
  const { entry, tablet } = await anEntry();
  const add = tablet.outbox.add.bind(tablet.outbox);
  let letGo;
  const slow = new Promise((resolve) => (letGo = resolve));
  tablet.outbox.add = (...act) => slow.then(() => add(...act));
  type(entry, "2.3");
  entry.type("ok");
  type(entry, "2.4");
  entry.type("ok");
  entry.soon(() => entry.turnUnit());
  type(entry, ".1");
  entry.type("ok");
  assert.deepEqual(standing(entry), [null, null, null]);
  letGo();
  await until(() => standing(entry)[2]);
  assert.deepEqual(standing(entry), ["2.3", "2.4", "0.1"]);
});

test("a value that cannot be kept stays in the pad, and what came after it is told as not taken", async () => {
  const { entry, tablet, desk } = await anEntry();
  tablet.memory.database.refuse = ({ table, method }) => (table === "outbox" && method === "put" ? FULL : null);
  type(entry, "2.3");
  entry.type("ok");
  type(entry, "2.4");
  entry.type("ok");
  await until(() => !entry.busy);
  assert.deepEqual(desk.told, ["the disk is full. What came after it was not taken."]);
  assert.deepEqual([entry.pad.text, entry.at.station], ["2.3", "1"]);
  tablet.memory.database.refuse = () => null;
  await ok(entry);
  assert.equal(standing(entry)[0], "2.3");
});

test("nothing is kept for nobody, and the value stays", async () => {
  const { entry, tablet } = await anEntry();
  tablet.person = async () => null;
  type(entry, "2.3");
  await ok(entry);
  assert.deepEqual([entry.pad.text, told(tablet, "added").length], ["2.3", 0]);
});

test("what lies beyond what the instrument reads is asked about once, whatever the limits are", async () => {
  const { entry, desk, tablet } = await anEntry();
  entry.session.check.instrument = { range_nm: [null, 2.5e6], reads: "SG-1 reads at most 2.50 mm." };
  type(entry, "2.51");
  await ok(entry);
  assert.deepEqual(desk.told, ["SG-1 reads at most 2.50 mm. OK once more keeps it."]);
  await ok(entry);
  type(entry, "2.5");
  await ok(entry);
  assert.deepEqual(told(tablet, "added").map(({ item }) => item.body.said.value), ["2.51", "2.5"]);
});

test("a slip of the finger, an empty pad and a half pair are asked about once", async () => {
  const { entry, desk, tablet } = await anEntry();
  await ok(entry);
  type(entry, "235");
  await ok(entry);
  tablet.settings.feeler = true;
  entry.startPlace("mm");
  await ok(entry);
  type(entry, "2.1");
  await ok(entry);
  type(entry, "2.0");
  await ok(entry);
  assert.deepEqual(desk.told, ["Type a value first.", "235 mm is far outside. OK once more keeps it.", "First the thickest leaf that goes.", "Now the leaf that does not go.", "The leaf that does not go is the thicker one."]);
  assert.equal(told(tablet, "added").length, 0);
  entry.setField("does_not_go");
  type(entry, "2.2");
  await ok(entry);
  const { said } = told(tablet, "added")[0].item.body;
  assert.deepEqual([said.outcome, said.goes, said.does_not_go], ["feeler", "2.1", "2.2"]);
});

test("a gauge that types is taken at once; with something else in the pad a person looks first", async () => {
  const { entry, desk } = await anEntry();
  [..."2.31", "Enter"].forEach((key, at) => entry.keydown(key, 1000 + 5 * at, true));
  await until(() => standing(entry)[0]);
  type(entry, "1");
  [..."2.35", "Enter"].forEach((key, at) => entry.keydown(key, 9000 + 5 * at, true));
  await until(() => desk.told.length);
  assert.deepEqual([standing(entry)[1], entry.pad.text, desk.told[0]], [null, "2.35", "The gauge sent 2.35. OK keeps it."]);
  assert.equal(entry.keydown("a", 20000, false), false);
});

test("a saved reading is replaced, emptied and taken back with a reason, or stays where none is given", async () => {
  const { entry, desk, tablet } = await anEntry();
  type(entry, "2.3");
  await ok(entry);
  entry.visit("1");
  desk.answer = "";
  type(entry, "2.4");
  await ok(entry);
  await emptyPlace(entry);
  assert.equal(await takeBack(entry), null);
  assert.equal(standing(entry)[0], "2.3");
  desk.answer = "Misread";
  await takeBack(entry);
  assert.deepEqual([standing(entry)[0], entry.pad.text, entry.pad.marked], [undefined, "2.3", true].map((value) => value ?? ""));
  await ok(entry);
  entry.visit("1");
  await emptyPlace(entry);
  const reasons = told(tablet, "added").map(({ item }) => item.body.said.reason);
  assert.deepEqual(reasons, ["", "Undone at once", "Measured after it was cleared", "Misread"]);
});

test("of two values a person chooses, and nothing is added before", async () => {
  const both = ["a", "b"].map((act) => ({ act, by: act, station: "1", kind: "gap", outcome: "value", value: act === "a" ? "2.1" : "2.2", unit: "mm", clash: true, made_at: "2026-01-01T00:00:00Z", verdict: "conforms", deviation_nm: 0 }));
  const { entry, desk } = await anEntry(aCheck({ readings: both }));
  entry.visit("1");
  type(entry, "2.3");
  await ok(entry);
  assert.deepEqual(desk.told, ["Choose one of the two first."]);
  await chooseReading(entry, "b");
  assert.equal(standing(entry)[0], "2.2");
});
