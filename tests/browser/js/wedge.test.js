import assert from "node:assert/strict";
import { test } from "node:test";
import { hear, quiet } from "../../../qa/static/qa/tablet/wedge.js";

function type(text, gap, end = "Enter", endGap = gap) {
  let wedge = quiet();
  let at = 1000;
  for (const key of text) {
    ({ wedge } = hear(wedge, key, at));
    at += gap;
  }
  return hear(wedge, end, at - gap + endGap);
}

test("a burst of digits and Enter is a gauge", () => {
  assert.deepEqual(type("2.35", 8), { wedge: quiet(), value: "2.35", held: true });
  assert.equal(type("-0.12", 35).value, "-0.12");
  assert.equal(type("2.35", 8, "Tab").value, "2.35");
});

test("a hand is not a gauge, but its Enter does not click what has the focus", () => {
  const slow = type("2.35", 120);
  assert.equal(slow.value, null);
  assert.equal(slow.held, true);
  assert.equal(type("2.35", 120, "Tab").held, false);
});

test("an Enter long after the last digit is an ordinary Enter", () => {
  assert.equal(type("2.35", 8, "Enter", 500).held, false);
});

test("two characters are no gauge", () => assert.equal(type("25", 8).value, null));

test("a half value is dropped by the pause that follows it", () => {
  let { wedge } = hear(quiet(), "9", 0);
  ({ wedge } = hear(wedge, "9", 10));
  for (const [i, key] of [..."2.35"].entries()) ({ wedge } = hear(wedge, key, 1000 + i * 10));
  assert.equal(hear(wedge, "Enter", 1040).value, "2.35");
});

test("a pause in the middle never shortens the value", () => {
  let wedge = quiet();
  for (const [key, at] of [["0", 0], [".", 60], ["0", 62], ["1", 64], ["8", 66]]) ({ wedge } = hear(wedge, key, at));
  assert.deepEqual(hear(wedge, "Enter", 68), { wedge: quiet(), value: null, held: true });
});

test("any other key ends a burst", () => {
  let { wedge } = hear(quiet(), "2", 0);
  ({ wedge } = hear(wedge, "a", 5));
  assert.deepEqual(wedge, quiet());
});
