import assert from "node:assert/strict";
import { test } from "node:test";
import { beside, carriedBefore } from "../../../qa/static/qa/tablet/beside.js";
import { placesOf } from "../../../qa/static/qa/tablet/places.js";

const BOX = [0, 0, 1000, 700];
const SIZE = 13;
const meet = (a, b) => a.left < b.right && b.left < a.right && a.top < b.bottom && b.top < a.bottom;

// A closed seam around the sheet, with two values at every station.
function round(count, now) {
  const far = (row) => Math.min((row - now + count) % count, (now - row + count) % count);
  return Array.from({ length: count }, (_, row) => {
    const turn = (2 * Math.PI * row) / count;
    const normal = [Math.cos(turn), Math.sin(turn)];
    return { at: [500 + 360 * normal[0], 350 + 235 * normal[1]], normal, words: ["12.35", "\u22120.25"], near: far(row) < 2 ? far(row) : null };
  });
}

test("values of the station in hand and of its neighbors are large, on the sheet and free, at every station of seams with 3 to 60", () => {
  for (const count of [3, 8, 16, 24, 48, 60]) {
    for (let now = 0; now < count; now += 1) {
      const stations = round(count, now);
      const blocks = placesOf(stations, BOX, SIZE, 26);
      const near = blocks.filter((_, row) => stations[row].near !== null);
      assert.equal(near.length, 3);
      for (const block of near) {
        assert.equal(block?.size, 26, `${count} stations, ${now} in hand`);
        assert.ok(block.left >= 0 && block.right <= 1000 && block.top >= 0 && block.bottom <= 700, `${count} stations, ${now} in hand`);
      }
      const shown = blocks.filter(Boolean);
      for (const [row, one] of shown.entries()) for (const other of near) if (one !== other) assert.ok(!meet(one, other), `${count} stations, ${now} in hand, ${row}`);
    }
  }
});

test("where there is room nothing is moved and nothing is left out", () => {
  const blocks = placesOf(round(8, 0), BOX, 22, 20);
  assert.ok(blocks.every((one) => one?.size === 22));
});

test("beside the field stand the value before as typed, what is expected and the witness", () => {
  const before = { outcome: "value", value: "2.40", unit: "mm", nm: 2400000 };
  assert.equal(beside({ before, expected_nm: 2100000, witness: true }, "mm"), "Witness · before 2.40 mm · expected 2.10 mm");
  assert.equal(beside({ before, expected_nm: null, witness: false }, "in"), "before 0.0945 in");
  assert.equal(beside({ before: { outcome: "feeler", goes: "2.0", does_not_go: "2.1", unit: "mm", nm: 2050000 }, expected_nm: 0, witness: false }, "mm"), "before 2.0/2.1 mm · expected 0.00 mm");
  assert.equal(beside(undefined, "mm"), "");
});

test("a check begun without a network knows the newest carried value of the same part in the same place", () => {
  const check = (label, serial, made_at, value) => ({ label, joint: { label: "J-1" }, airframe: { label: "AF-1" }, part: { serial }, readings: [{ station: "3", kind: "gap", outcome: "value", value, unit: "mm", value_nm: 1, made_at, current: true }] });
  const checks = [check("FC-2", "S-1", "2026-02-02", "2.2"), check("FC-1", "S-1", "2026-02-01", "2.1"), check("FC-3", "S-2", "2026-02-03", "2.3")];
  const found = carriedBefore(checks, { joint: "J-1", airframe: "AF-1", part: "S-1" });
  assert.deepEqual(found.map(({ before }) => [before.value, before.check]), [["2.2", "FC-2"]]);
});
