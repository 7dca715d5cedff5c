import assert from "node:assert/strict";
import { test } from "node:test";
import { keyOf, meaning } from "../../../qa/static/qa/tablet/core/label_codes.js";

const UUID = "6f1e0a52-7b5e-4d3c-9c7e-2f4c1f0a9b10";
const HERE = {
  hosts: ["hangar.local", "192.168.7.20", "fd00::7"],
  kinds: { P: { word: "part", photo: true }, J: { word: "joint" }, A: { word: "airframe" }, I: { word: "instrument" }, F: { word: "fit check" }, T: { word: "tool", photo: true }, N: { word: "laminate", photo: false } },
  parts: [{ id: 42 }],
  joints: [{ id: 3 }],
  airframes: [{ id: 1 }],
  instruments: [{ id: 33 }],
  checks: [{ id: 10, uuid: UUID }],
};
const at = (path, host = "hangar.local:8000") => meaning(`http://${host}${path}`, HERE, "tablet.local");

test("codes are read as the server writes them", () => {
  assert.equal(keyOf("P1A"), 42);
  assert.equal(keyOf("P0"), 0);
  assert.equal(keyOf("PZ"), 31);
  assert.equal(keyOf("P10"), 32);
  // What people write for a digit that looks like it.
  assert.equal(keyOf("PIO"), 32);
  assert.equal(keyOf("PLO"), 32);
  assert.equal(keyOf("P1U"), null);
});

test("labels of parts, joints, airframes and gauges are picks for a new check", () => {
  assert.deepEqual(at("/t/P1A"), { what: "pick", field: "part", id: 42 });
  assert.deepEqual(at("/t/p1a"), { what: "pick", field: "part", id: 42 });
  assert.deepEqual(at("/t/J3"), { what: "pick", field: "joint", id: 3 });
  assert.deepEqual(at("/t/A1"), { what: "pick", field: "airframe", id: 1 });
  assert.deepEqual(at("/t/I11"), { what: "pick", field: "instrument", id: 33 });
  assert.deepEqual(at("/joints/3/revision/2/"), { what: "pick", field: "joint", id: 3 });
});

test("a fit sheet, a label of a check and the tablet's own address open the check", () => {
  const check = { what: "check", uuid: UUID };
  assert.deepEqual(at(`/fit-checks/${UUID}/`), check);
  assert.deepEqual(at(`/tablet/check/${UUID}`), check);
  assert.deepEqual(at("/t/FA"), check);
});

test("anything else of this site is a page", () => {
  assert.deepEqual(at("/t/T3"), { what: "page", path: "/t/T3", words: "tool T3", thing: "T3" });
  assert.deepEqual(at("/t/N3"), { what: "page", path: "/t/N3", words: "laminate N3", thing: "" });
  assert.equal(at(`/fit-checks/${UUID}/plan/`).what, "page");
  assert.equal(at("/nonconformances/?state=open").path, "/nonconformances/?state=open");
  // Not carried here: the server may know it.
  assert.deepEqual(at("/t/P2"), { what: "page", path: "/t/P2", words: "part P2", thing: "P2" });
  assert.equal(at("/t/F2").what, "page");
  assert.equal(at("/joints/9/").what, "page");
});

test("the site is known by each of its names, whatever the port and scheme", () => {
  for (const host of ["hangar.local", "HANGAR.local:8443", "192.168.7.20:8000", "tablet.local", "[fd00::7]:8443"]) assert.equal(at("/t/P1A", host).what, "pick", host);
  assert.equal(meaning("https://hangar.local:8443/t/P1A", HERE, "x").what, "pick");
  assert.equal(meaning("http://[fd00::9]/t/P1A", HERE, "[fd00::9]").what, "pick");
});

test("a foreign code says so and leads nowhere", () => {
  for (const host of ["hangar.local.example.com", "example.com", "hangar.local@example.com", "192.168.7.2"]) {
    const means = at("/t/P1A", host);
    assert.equal(means.what, "foreign", host);
    assert.match(means.words, /not of this shop/);
  }
  for (const text of ["javascript:alert(1)", "WIFI:S:net;;", "", "hello", "P1A", "file:///etc/passwd"]) assert.equal(meaning(text, HERE, "hangar.local").what, "foreign", text);
  assert.equal(at("/t/X9").what, "foreign");
  assert.equal(at("/t/P1U").what, "foreign");
  assert.ok(meaning("x".repeat(4000), HERE, "h").words.length < 200);
});

test("what is opened is a path of this site, even when it looks like another", () => {
  const { what, path } = at("//example.com/t/P1A");
  assert.equal(what, "page");
  // The page puts it behind its own origin.
  assert.equal(new URL(`https://tablet.local${path}`).host, "tablet.local");
});

test("a code may be typed alone", () => {
  assert.deepEqual(meaning("p1a", HERE, "h", true), { what: "pick", field: "part", id: 42 });
  assert.equal(meaning("door", HERE, "h", true).what, "foreign");
  assert.match(meaning("4711", HERE, "h", true).words, /no code/);
});

test("before anything is carried only addresses can be told apart", () => {
  assert.equal(meaning("http://h/t/P1A", null, "h").what, "page");
  assert.equal(meaning(`http://h/fit-checks/${UUID}/`, undefined, "h").what, "check");
});
