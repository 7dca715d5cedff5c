import assert from "node:assert/strict";
import { test } from "node:test";
import { previousValues } from "../../../qa/static/qa/tablet/core/check_choices.js";
import { referenceValues } from "../../../qa/static/qa/tablet/core/readings.js";

test("beside the field stand the value before as typed, what is expected and the witness", () => {
  const before = { outcome: "value", value: "2.40", unit: "mm", nm: 2400000 };
  assert.equal(referenceValues({ before, expected_nm: 2100000, witness: true }, "mm"), "Witness · before 2.40 mm · expected 2.10 mm");
  assert.equal(referenceValues({ before, expected_nm: null, witness: false }, "in"), "before 0.0945 in");
  assert.equal(referenceValues({ before: { outcome: "feeler", goes: "2.0", does_not_go: "2.1", unit: "mm", nm: 2050000 }, expected_nm: 0, witness: false }, "mm"), "before 2.0/2.1 mm · expected 0.00 mm");
  assert.equal(referenceValues(undefined, "mm"), "");
});

test("a check begun without a network knows the newest carried value of the same part in the same place", () => {
  const check = (label, serial, made_at, value) => ({ label, joint: { label: "J-1" }, airframe: { label: "AF-1" }, part: { serial }, readings: [{ station: "3", kind: "gap", outcome: "value", value, unit: "mm", value_nm: 1, made_at, current: true }] });
  const checks = [check("FC-2", "S-1", "2026-02-02", "2.2"), check("FC-1", "S-1", "2026-02-01", "2.1"), check("FC-3", "S-2", "2026-02-03", "2.3")];
  const found = previousValues(checks, { joint: "J-1", airframe: "AF-1", part: "S-1" });
  assert.deepEqual(found.map(({ before }) => [before.value, before.check]), [["2.2", "FC-2"]]);
});
