import assert from "node:assert/strict";
import { test } from "node:test";
import { inParts } from "../../../qa/static/qa/tablet/core/file_parts.js";

const rows = (name, count) => Array.from({ length: count }, (_, n) => `${name}${n}`);
const photos = (...sizes) => sizes.map((size, n) => ({ id: n, blob: { size } }));
const shape = (parts) => parts.map(({ outbox, sent, photos }) => [outbox.length, sent.length, photos.map(({ id }) => id)]);

test("what is little is one file, and so is nothing", () => {
  assert.deepEqual(shape(inParts(rows("a", 3), rows("b", 2), photos(1, 2))), [[3, 2, [0, 1]]]);
  assert.deepEqual(shape(inParts([], [], [])), [[0, 0, []]]);
});

test("what was never sent comes first, and no part is larger than the server takes", () => {
  const parts = inParts(rows("a", 5), rows("b", 5), photos(6, 6, 3), { bytes: 10, acts: 4 });
  assert.deepEqual(shape(parts), [[4, 0, []], [1, 3, []], [0, 2, [0]], [0, 0, [1, 2]]]);
});

test("a picture larger than a part goes alone", () => {
  assert.deepEqual(shape(inParts([], [], photos(3, 99, 3), { bytes: 10 })), [[0, 0, [0]], [0, 0, [1]], [0, 0, [2]]]);
});

test("all that went in comes out once, in its order", () => {
  for (let acts = 1; acts < 9; acts += 1) {
    const parts = inParts(rows("a", 7), rows("b", 4), photos(1, 5, 2, 2, 9), { bytes: 6, acts });
    assert.deepEqual(parts.flatMap(({ outbox }) => outbox), rows("a", 7));
    assert.deepEqual(parts.flatMap(({ sent }) => sent), rows("b", 4));
    assert.deepEqual(parts.flatMap(({ photos }) => photos.map(({ id }) => id)), [0, 1, 2, 3, 4]);
  }
});
