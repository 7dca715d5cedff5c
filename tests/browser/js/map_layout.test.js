import assert from "node:assert/strict";
import { test } from "node:test";
import { layOut } from "../../../qa/static/qa/tablet/core/map_layout.js";

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
      const blocks = layOut(stations, BOX, SIZE, 26);
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
  const blocks = layOut(round(8, 0), BOX, 22, 20);
  assert.ok(blocks.every((one) => one?.size === 22));
});
