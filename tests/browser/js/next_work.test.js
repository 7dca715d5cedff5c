import assert from "node:assert/strict";
import { test } from "node:test";
import { SendQueue } from "../../../qa/static/qa/tablet/core/send_queue.js";
import { afterIt, itemsOf, wordsOf } from "../../../qa/static/qa/tablet/core/steps.js";
import { CheckSession } from "../../../qa/static/qa/tablet/state/check_session.js";
import { add, beginAfter, record, workOf } from "../../../qa/static/qa/tablet/state/next_work.js";
import { aCheck, aServer, aTablet, until } from "./a_tablet.js";

const before = (nm) => ({ outcome: "value", value: `${nm / 1e6}`, unit: "mm", nm });
const fields = [
  { station: "1", kind: "gap", before: before(2e6), witness: true, by: { 0: 50004, 1: -20000 } },
  { station: "2", kind: "gap", before: before(1.5e6), witness: false, by: { 0: -50000, 2: 10000 } },
];
// Two adjusters and a cut of 0.45 mm.
const work = (more = {}) => ({
  ...{ check: "c", plan: "p", form: "cut/1", html: "<p>", ways: { set: { upper: 3 } } },
  items: [
    { name: "upper", was_nm: 0, asked: 2 },
    { name: "latch", was_nm: 0, asked: 0 },
    { check: "c", station: "2", side: "part", unit: "mm", asked: 45 },
  ],
  words: [{ low: -1, words: ["0.1 mm fore", "stays", "0.1 mm aft", "0.2 mm aft", "0.3 mm aft"] }],
  again: [{ check: "c", label: "J-1", first: ["3", "1"], fields, copy: { label: "new, not sent yet", state: "open", readings: [], proposal: null } }],
  ...more,
});
const said = (...done) => ({ check: "c", plan: "p", note: "", more: false, items: work().items.map((item, row) => ({ ...item, done: done[row] })) });

test("what is done is as asked until it is said to be otherwise, by the plan or by a way without one", () => {
  assert.deepEqual(itemsOf(work()).map(({ asked, done }) => [asked, done]), [[2, 2], [0, 0], [45, 45]]);
  assert.deepEqual(itemsOf(work(), { upper: 3 }).map(({ asked, done }) => [asked, done]), [[3, 3], [0, 0], [0, 0]]);
  const [row] = work().words;
  assert.equal(wordsOf(row, { asked: 2, done: 2 }), "0.2 mm aft, as asked");
  assert.equal(wordsOf(row, { asked: 2, done: 1 }), "0.1 mm aft, otherwise: asked 0.2 mm aft");
  assert.equal(wordsOf(row, { asked: 0, done: -1 }), "0.1 mm fore, otherwise: asked stays");
});

test("after settings every field is expected where they put it, in the digits that are known, and no witness speaks", () => {
  const [again] = work().again;
  const { beside, first } = afterIt(again, said(2, -1, 0));
  assert.deepEqual(beside.map(({ expected_nm, witness }) => [expected_nm, witness]), [[2120000, false], [1400000, false]]);
  assert.deepEqual(first, []);
  assert.ok(!("by" in beside[0]));
});

test("after a cut alone the witnesses come first, and only what was cut is expected otherwise", () => {
  const [again] = work().again;
  const { beside, first } = afterIt(again, said(0, 0, 40));
  assert.deepEqual(beside.map(({ expected_nm, witness }) => [expected_nm, witness]), [[null, true], [1900000, false]]);
  assert.deepEqual(first, ["3", "1"]);
});

test("what was done goes after all of its check, the check after it then, and its readings last", () => {
  const act = (id, form, more) => ({ id, body: { form, said: more }, state: "waiting" });
  const reading = (id, check, station) => act(id, "reading/1", { check, station, kind: "gap" });
  const queue = new SendQueue();
  for (const item of [reading("r", "c", "1"), act("f", "finish/1", { check: "c" }), act("s", "set/1", { check: "c" }), act("n", "check/3", { check: "c", after: "s" }), reading("r2", "n", "1"), act("f2", "finish/1", { check: "n" })]) queue.admit(item);
  for (const id of ["r", "f", "s", "n", "r2", "f2"]) {
    assert.deepEqual(queue.take(9).map((item) => item.id), [id]);
    queue.done(id);
  }
});

const serving = (json) => {
  const server = aServer();
  return (method, path, body) => {
    if (path.startsWith("/api/checks/c/next")) return { status: 200, json };
    return path === "/api/checks/c" ? { status: 200, json: aCheck({ state: "finished" }) } : server(method, path, body);
  };
};

test("what was worked out last is there without a network, and says why there is nothing newer", async () => {
  const tablet = await aTablet();
  const none = await workOf(tablet, "c", true);
  assert.deepEqual([none.json, none.problem.message], [undefined, "No contact."]);
  tablet.answer = serving(work());
  tablet.settings.unit = "in";
  assert.equal((await workOf(tablet, "c", true)).json.plan, "p");
  assert.ok(tablet.asked.some(({ path }) => path === "/api/checks/c/next?unit=in"));
  tablet.answer = () => null;
  const kept = await workOf(tablet, "c", true);
  assert.deepEqual([kept.json.plan, Boolean(kept.problem)], ["p", true]);
  tablet.answer = () => ({ status: 422, json: { error: { code: "refused", message: "Finish it first." } } });
  assert.equal((await workOf(tablet, "c", true)).problem.message, "Finish it first.");
});

test("what was done is kept, what it was done by stays, and the check after it begins once", async () => {
  const tablet = await aTablet(serving(work()));
  await workOf(tablet, "c", true);
  tablet.answer = () => null;
  await record(tablet, await workOf(tablet, "c"), said(2, 0, 40));
  const { done, json } = await workOf(tablet, "c", true);
  assert.deepEqual([done.body.form, json.plan], ["cut/1", "p"]);
  const [again] = json.again;
  const act = await beginAfter(tablet, done, again, "21");
  assert.equal((await beginAfter(tablet, done, again, "21")).id, act.id);
  assert.deepEqual(act.body.said, { check: "c", after: done.id, temperature: "21", note: "" });
  const session = await new CheckSession(tablet, act.id, () => {}).open();
  assert.deepEqual([session.check.state, session.check.label, session.finished()], ["open", "new, not sent yet", false]);
  assert.deepEqual(session.check.beside.map(({ expected_nm }) => expected_nm), [2100000, 1800000]);
  // On line again: all of it once, in its order, and what was gone by is not asked for anew.
  tablet.answer = serving(work({ plan: "another" }));
  tablet.outbox.kick();
  await until(() => !tablet.outbox.queue.items.size);
  const puts = tablet.asked.filter(({ method }) => method === "PUT").map(({ body }) => body.form);
  assert.deepEqual([...new Set(puts)], ["cut/1", "check/3"]);
  assert.equal((await workOf(tablet, "c", true)).json.plan, "p");
});

test("an answer that was on its way when something was recorded changes neither what was done nor what it was done by", async () => {
  const tablet = await aTablet(serving(work()));
  const goneBy = await workOf(tablet, "c", true);
  tablet.answer = async (...request) => {
    await record(tablet, goneBy, said(2, 0, 40));
    tablet.answer = () => null;
    return serving(work({ plan: "another" }))(...request);
  };
  const late = await workOf(tablet, "c", true);
  assert.deepEqual([late.done?.body.form, late.json.plan], ["cut/1", "p"]);
  assert.equal((await workOf(tablet, "c")).json.plan, "p");
});

test("a way that was taken is not offered again until what comes of it is here", async () => {
  const tablet = await aTablet(serving(work({ plan: null, read_to: 0 })));
  assert.equal((await workOf(tablet, "c", true)).taken, false);
  tablet.answer = () => null;
  await add(tablet, "take/1", { check: "c", way: "set", read_to: 0 });
  assert.equal((await workOf(tablet, "c", true)).taken, true);
  // It got there, and the answer about what comes next did not come back.
  const answer = serving(work({ plan: "another", read_to: 1 }));
  tablet.answer = (...request) => (request[1].includes("/next") ? null : answer(...request));
  tablet.outbox.kick();
  await until(() => !tablet.outbox.queue.items.size);
  const lost = await workOf(tablet, "c", true);
  assert.deepEqual([lost.taken, lost.problem.message], [true, "No contact."]);
  tablet.answer = answer;
  const now = await workOf(tablet, "c", true);
  assert.deepEqual([now.taken, now.json.plan], [false, "another"]);
});

test("what came while it was gone through does not take the place of what it was done by", async () => {
  const tablet = await aTablet(serving(work()));
  const goneBy = await workOf(tablet, "c", true);
  tablet.answer = serving(work({ plan: "another" }));
  assert.equal((await workOf(tablet, "c", true)).json.plan, "another");
  await record(tablet, goneBy, said(2, 0, 40));
  assert.equal((await workOf(tablet, "c")).json.plan, "p");
});

test("nobody records in nobody's name", async () => {
  const tablet = await aTablet(serving(work()));
  await workOf(tablet, "c", true);
  tablet.nobody = null;
  tablet.person = async function () {
    return this.nobody;
  };
  assert.equal(await record(tablet, await workOf(tablet, "c"), said(2, 0, 0)), null);
  assert.equal((await workOf(tablet, "c")).done, undefined);
});
