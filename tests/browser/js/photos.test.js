import assert from "node:assert/strict";
import { test } from "node:test";
import { classifyPhoto, fileName, mayGo, subjects } from "../../../qa/static/qa/tablet/core/photo_rules.js";

const ok = { photo: "p", database: "d" };
const error = { code: "refused", message: "The picture is damaged." };

test("only a receipt with the photo's id and our database takes it off the tablet", () => {
  assert.equal(classifyPhoto(201, ok, "p", "d").what, "done");
  assert.equal(classifyPhoto(201, { ...ok, photo: "q" }, "p", "d").what, "retry");
  assert.equal(classifyPhoto(201, { ...ok, database: "e" }, "p", "d").what, "other_database");
  assert.equal(classifyPhoto(200, null, "p", "d").what, "retry");
});

test("a refusal keeps its reason, also one from something in between", () => {
  assert.deepEqual(classifyPhoto(422, { error }, "p", "d"), { what: "park", problem: { ...error, status: 422 } });
  assert.equal(classifyPhoto(413, null, "p", "d").what, "park");
  assert.ok(classifyPhoto(413, null, "p", "d").problem.message);
  assert.equal(classifyPhoto(502, null, "p", "d").what, "retry");
  assert.equal(classifyPhoto(401, { error: { code: "sign_in" } }, "p", "d").what, "sign_in");
});

test("a refused photo waits for a person, and one of somebody else for that person", () => {
  const photo = { by: "ann", about: { check: "c" } };
  assert.ok(mayGo(photo, "bob", new Map()));
  assert.ok(!mayGo({ ...photo, problem: error }, "ann", new Map()));
  const theirs = { ...photo, problem: { code: "other_person" } };
  assert.ok(!mayGo(theirs, "bob", new Map()));
  assert.ok(mayGo(theirs, "ann", new Map()));
});

test("no photo goes before the check that it belongs to", () => {
  assert.ok(!mayGo({ about: { check: "c" } }, "ann", new Map([["c", {}]])));
  assert.ok(mayGo({ about: { thing: "T3" } }, "ann", new Map([["c", {}]])));
});

test("a photo saved as a file keeps the name it came with, or gets one by its time", () => {
  const row = { made_at: "2026-11-25T09:08:07.123Z", name: "", blob: { type: "image/jpeg" } };
  assert.equal(fileName(row), "photo-20261125090807.jpg");
  assert.equal(fileName({ ...row, name: "IMG_7.HEIC" }), "IMG_7.HEIC");
  assert.equal(fileName({ ...row, blob: { type: "image/heic" } }), "photo-20261125090807.heic");
  assert.equal(fileName({ ...row, blob: { type: "" } }), "photo-20261125090807.bin");
});

test("a photo may show the station in hand, a defect or a hole", () => {
  const check = { check: "c", defects: [{ id: 7, label: "NC-001", title: "gap tight" }], holes: [{ id: 2, label: "HP-1 Hinge", holes: ["1", "A2"] }] };
  const { shown, patterns } = subjects(check, { station: "4", kind: "gap" });
  assert.deepEqual(shown[0], { about: { check: "c", station: "4", kind: "gap" }, words: "station 4 gap" });
  assert.deepEqual(shown[1].about, { check: "c", station: "4", kind: "gap", nonconformance: 7 });
  assert.deepEqual(patterns[0].holes[1], { about: { check: "c", pattern: 2, hole: "A2" }, short: "A2", words: "hole A2 of HP-1 Hinge" });
  assert.deepEqual(subjects({ check: "c" }, { station: "4", kind: "gap" }).patterns, []);
});
