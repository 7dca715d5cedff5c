import assert from "node:assert/strict";
import { readFileSync } from "node:fs";
import { test } from "node:test";
import { emptyPad, keyOf, press, recalled, typedInto } from "../../../qa/static/qa/tablet/core/key_input.js";
import { formatLength, parseLength, tellLength, tellLimits } from "../../../qa/static/qa/tablet/core/lengths.js";
import { judge, looksLikeASlip, stateOf } from "../../../qa/static/qa/tablet/core/readings.js";

const vectors = (name) => JSON.parse(readFileSync(new URL(`../../qa/vectors/${name}.json`, import.meta.url)));
const lengths = vectors("lengths");
const limits = (low_nm, high_nm) => ({ low_nm, high_nm, accept_low_nm: low_nm, accept_high_nm: high_nm, reject_low_nm: low_nm, reject_high_nm: high_nm });
const keys = (text, pad = emptyPad()) => [...text].reduce((state, key) => press(state, key), pad);

test("the tablet reads typed lengths as the shared vectors say", () => {
  for (const { text, unit, nm } of lengths.parse) {
    const read = parseLength(text, unit);
    if (nm === null) assert.ok(read.problem, `${text} ${unit} should be refused`);
    else assert.equal(read.nm, nm, `${text} ${unit}`);
  }
});

test("the tablet tells the limits that govern as the shared vectors say", () => {
  for (const { limits, unit, text } of lengths.limits) assert.equal(tellLimits(limits, unit), text);
});

test("the tablet writes lengths as the shared vectors say", () => {
  for (const { nm, unit, places, text } of lengths.format) assert.equal(formatLength(nm, unit, places), text);
});

test("there is no minus zero", () => assert.ok(Object.is(parseLength("-0.00", "mm").nm, 0)));

test("any number of nanometers reads back as itself in mm", () => {
  for (let i = 0; i < 20000; i += 1) {
    const nm = Math.round((Math.random() - 0.5) * 2e9);
    assert.equal(parseLength(formatLength(nm, "mm"), "mm").nm, nm);
  }
});

test("limits are told with two places of mm, or as many as they have", () => {
  assert.deepEqual([tellLength(2000000, "mm"), tellLength(-125000, "mm"), tellLength(2997200, "in")], ["2.00", "\u22120.125", "0.1180"]);
});

test("the tablet judges as the shared vectors say", () => {
  for (const { limits: lim, readings } of vectors("verdicts").cases) {
    for (const { x_nm, verdict, deviation_nm } of readings) {
      const judged = judge(x_nm, lim);
      assert.deepEqual([judged.verdict, judged.deviation_nm], [verdict, deviation_nm], `${x_nm}`);
    }
  }
});

test("a reading above and one below are told apart", () => {
  assert.equal(stateOf("does_not_conform", 5), "above");
  assert.equal(stateOf("does_not_conform", -5), "below");
  assert.equal(stateOf("not_proven", 0), "not_proven");
});

test("235 typed for 2.35 looks like a slip and a bad gap does not", () => {
  const lim = limits(2000000, 4000000);
  assert.ok(looksLikeASlip(235000000, lim));
  assert.ok(!looksLikeASlip(9000000, lim));
  assert.ok(!looksLikeASlip(14000000, lim), "exactly five widths outside is not yet a slip");
  assert.ok(looksLikeASlip(14000001, lim));
});

test("the pad types what its keys say", () => {
  assert.equal(keys("2.35").text, "2.35");
  assert.equal(keys(".5").text, "0.5");
  assert.equal(keys("007").text, "7");
  assert.equal(keys("1.2.3").text, "1.23");
  assert.equal(press(keys("0.3"), "sign").text, "-0.3");
  assert.equal(press(press(keys("0.3"), "sign"), "sign").text, "0.3");
  assert.equal(press(keys("2.35"), "back").text, "2.3");
  assert.equal(press(keys("2.35"), "clear").text, "");
});

test("undo takes back one touch at a time, even a clear", () => {
  const cleared = press(keys("2.35"), "clear");
  const back = press(cleared, "undo");
  assert.equal(back.text, "2.35");
  assert.equal(press(back, "undo").text, "2.3");
  assert.equal(press(emptyPad(), "undo").text, "");
});

test("a value that came back is replaced by the first key, never added to, also after more undoing", () => {
  const old = (text) => recalled(emptyPad(), text);
  assert.deepEqual([old("0.3").text, old("0.3").marked, old("").marked], ["0.3", true, false]);
  assert.equal(keys("1", old("0.3")).text, "1");
  assert.equal(keys("12", old("0.3")).text, "12");
  assert.equal(keys("3", old("3")).marked, false);
  assert.equal(keys("1", press(old("2.35"), "sign")).text, "-1");
  assert.equal(press(old("2.35"), "back").text, "");
  assert.equal(keys(".", old("2.35")).text, "0.");
  assert.equal(press(old("2.35"), "more").text, "2.40");
  const again = press(keys("5", old("0.3")), "undo");
  assert.deepEqual([again.text, again.marked], ["0.3", true]);
  assert.equal(keys("1", again).text, "1");
  assert.equal(press(old("0.3"), "undo").text, "");
  for (const key of [..."0123456789."]) assert.ok(!press(old("7.25"), key).text.startsWith("7.25"), key);
});

test("what comes into the field without our keys stands instead of an old value", () => {
  assert.equal(typedInto("2.35", "2.351"), "1");
  assert.equal(typedInto("2.35", "2.3"), "");
  assert.equal(typedInto("2.35", "9"), "9");
  assert.equal(typedInto("", "2.4"), "2.4");
});

test("small steps start from what is typed, else from the last value, and keep its places", () => {
  assert.equal(press(keys("2.35"), "more").text, "2.40");
  assert.equal(press(keys("0.02"), "less").text, "-0.03");
  assert.equal(press(emptyPad(), "less", "2.35").text, "2.30");
  assert.equal(press(emptyPad(), "more").text, "0.05");
  assert.equal(press(emptyPad("in"), "more", "0.118").text, "0.120");
});

test("another unit clears the pad, the same unit leaves it", () => {
  assert.equal(press(keys("2.35"), { unit: "in" }).text, "");
  assert.equal(press(keys("2.35"), { unit: "mm" }).text, "2.35");
});

test("no row of keys ever leaves a text that is neither empty, half a number nor a number", () => {
  const all = [..."0123456789.", "sign", "back", "clear", "undo", "more", "less"];
  for (const unit of ["mm", "in"]) {
    let pad = emptyPad(unit);
    for (let i = 0; i < 100000; i += 1) {
      pad = press(pad, all[Math.floor(Math.random() * all.length)], "1.25");
      assert.match(pad.text, /^-?(\d+(\.\d*)?)?$/);
      assert.ok(pad.past.length <= 50);
    }
  }
});

test("hardware keys are keys of the pad", () => {
  assert.deepEqual(["7", ",", "-", "Backspace", "Enter", "a"].map(keyOf), ["7", ".", "sign", "back", "ok", null]);
});
