import assert from "node:assert/strict";
import { test } from "node:test";
import { hear, quiet } from "../../../qa/static/qa/tablet/core/key_input.js";

function type(text, gap, end = "Enter", endGap = gap) {
  let burst = quiet();
  let at = 1000;
  for (const key of text) {
    ({ burst } = hear(burst, key, at));
    at += gap;
  }
  return hear(burst, end, at - gap + endGap);
}

test("a burst of digits and Enter is a gauge", () => {
  assert.deepEqual(type("2.35", 8), { burst: quiet(), value: "2.35", held: true });
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
  let { burst } = hear(quiet(), "9", 0);
  ({ burst } = hear(burst, "9", 10));
  for (const [i, key] of [..."2.35"].entries()) ({ burst } = hear(burst, key, 1000 + i * 10));
  assert.equal(hear(burst, "Enter", 1040).value, "2.35");
});

test("a pause in the middle never shortens the value", () => {
  let burst = quiet();
  for (const [key, at] of [["0", 0], [".", 60], ["0", 62], ["1", 64], ["8", 66]]) ({ burst } = hear(burst, key, at));
  assert.deepEqual(hear(burst, "Enter", 68), { burst: quiet(), value: null, held: true });
});

test("any other key ends a burst", () => {
  let { burst } = hear(quiet(), "2", 0);
  ({ burst } = hear(burst, "a", 5));
  assert.deepEqual(burst, quiet());
});
