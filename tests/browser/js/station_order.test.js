import assert from "node:assert/strict";
import { test } from "node:test";
import { neighbor, nextOpen, progress, slotsOf } from "../../../qa/static/qa/tablet/core/station_order.js";

const LIM = {};
const stations = [
  { label: "2", order: 2, gap: LIM, flush: null },
  { label: "1", order: 1, gap: LIM, flush: LIM },
  { label: "3", order: 3, gap: null, flush: LIM },
];
const names = (slots) => slots.map((slot) => slot.key);

test("slots follow the seam and leave out what has no limits", () => {
  assert.deepEqual(names(slotsOf(stations)), ["1|gap", "1|flush", "2|gap", "3|flush"]);
  assert.deepEqual(names(slotsOf(stations, "kind")), ["1|gap", "2|gap", "1|flush", "3|flush"]);
});

test("the walk goes on to the next that is open, wraps round, and ends", () => {
  const slots = slotsOf(stations);
  assert.equal(nextOpen(slots, new Set()).key, "1|gap");
  assert.equal(nextOpen(slots, new Set(["1|flush"]), "1|gap").key, "2|gap");
  assert.equal(nextOpen(slots, new Set(["3|flush", "2|gap"]), "2|gap").key, "1|gap");
  assert.equal(nextOpen(slots, new Set(names(slots)), "2|gap"), null);
  assert.equal(nextOpen([], new Set()), null);
});

test("what was cut or moved is walked first", () => {
  assert.deepEqual(names(slotsOf(stations, "station", ["3", "2"])), ["3|flush", "2|gap", "1|gap", "1|flush"]);
  assert.equal(nextOpen(slotsOf(stations, "kind", ["2"]), new Set()).key, "2|gap");
});

test("back from the first is the last", () => {
  const slots = slotsOf(stations);
  assert.equal(neighbor(slots, "1|gap", -1).key, "3|flush");
  assert.equal(neighbor(slots, "3|flush", 1).key, "1|gap");
});

test("progress counts slots", () => {
  assert.deepEqual(progress(slotsOf(stations), new Set(["1|gap", "elsewhere"])), { done: 1, of: 4 });
});
