import assert from "node:assert/strict";
import { test } from "node:test";
import { backoff, classify, forAll } from "../../../qa/static/qa/tablet/core/protocol.js";
import { SendQueue } from "../../../qa/static/qa/tablet/core/send_queue.js";

const DB = "d-1";
const receipt = { act: "a", database: DB, entry: 7 };
const what = (status, json) => classify(status, json, "a", DB).what;

test("only a receipt with our id and our database is a success", () => {
  assert.equal(what(201, receipt), "done");
  assert.equal(what(200, receipt), "done");
  assert.equal(what(200, { ...receipt, act: "b" }), "retry");
  assert.equal(what(200, null), "retry");
  assert.equal(what(200, { ...receipt, entry: undefined }), "retry");
  assert.equal(what(200, { ...receipt, database: "d-2" }), "other_database");
  assert.equal(what(204, null), "retry");
});

test("answers that need a person park, with the reason", () => {
  const error = { code: "conflict", message: "The check is finished." };
  for (const status of [400, 403, 404, 409, 413, 422]) assert.equal(what(status, { error }), "park");
  assert.equal(what(500, { error: { code: "fault", message: "A mistake of the server." } }), "park");
  assert.equal(classify(409, { error }, "a", DB).problem.message, error.message);
});

test("an error page of something in between is tried again", () => {
  for (const status of [401, 403, 404, 500, 502, 503, 0]) assert.equal(what(status, null), "retry");
  assert.equal(what(500, { error: { code: "broken" } }), "retry");
  assert.equal(what(429, { error: { code: "wait" } }), "retry");
});

test("an expired session, a stale token and another database pause instead", () => {
  assert.equal(what(401, { error: { code: "sign_in" } }), "sign_in");
  assert.equal(what(401, { error: { code: "revoked" } }), "revoked");
  assert.equal(what(403, { error: { code: "csrf" } }), "csrf");
  assert.equal(what(409, { error: { code: "other_database" } }), "other_database");
});

test("waiting doubles to half a minute and never knocks in step", () => {
  assert.equal(backoff(1, 0), 250);
  assert.equal(backoff(1, 1), 500);
  assert.equal(backoff(4, 1), 4000);
  assert.equal(backoff(50, 1), 30000);
});

let seq = 0;
const act = (id, said, form = "reading/1", state = "waiting") => ({ id, seq: (seq += 1), state, body: { form, by: "ann", said } });
const reading = (id, station, more = {}) => act(id, { check: "c", station, kind: "gap", ...more });
const queueOf = (...items) => {
  const queue = new SendQueue();
  items.forEach((item) => queue.admit(item));
  return queue;
};
const takeAll = (queue) => {
  const taken = [];
  for (const item of queue.take(Infinity)) taken.push(item.id);
  return taken;
};

test("a refusal of many acts together is taken for each only when it is about who sends", () => {
  assert.equal(forAll({ status: 422, json: { error: { code: "unreadable" } } }).status, 0);
  assert.equal(forAll({ status: 404, json: null }).status, 0);
  assert.equal(forAll({ status: 401, json: { error: { code: "revoked" } } }).status, 401);
  assert.equal(forAll({ status: 409, json: { error: { code: "other_database" } } }).status, 409);
});

test("acts of different stations go abreast, acts of one station in order", () => {
  const queue = queueOf(reading("a", "1"), reading("b", "2"), reading("c2", "1", { supersedes: "a" }));
  assert.deepEqual(takeAll(queue), ["a", "b"]);
  queue.done("b");
  assert.deepEqual(takeAll(queue), []);
  queue.done("a");
  assert.deepEqual(takeAll(queue), ["c2"]);
});

test("a check started here waits for its fit-up, its readings for it, and finish for all", () => {
  const queue = queueOf(act("f", { joint: 1 }, "fitup/1"), act("c", { fitup: "f" }, "check/1"), reading("a", "1"), reading("b", "2"), act("z", { check: "c" }, "finish/1"));
  assert.deepEqual(takeAll(queue), ["f"]);
  queue.done("f");
  assert.deepEqual(takeAll(queue), ["c"]);
  queue.done("c");
  assert.deepEqual(takeAll(queue), ["a", "b"]);
  queue.done("b");
  assert.deepEqual(takeAll(queue), []);
  queue.done("a");
  assert.deepEqual(takeAll(queue), ["z"]);
});

test("a parked act holds what names it and nothing else", () => {
  const queue = queueOf(reading("a", "1"), reading("b", "1"), reading("x", "1", { supersedes: "a" }), reading("d", "2"));
  assert.deepEqual(takeAll(queue), ["a", "d"]);
  queue.park("a", { code: "refused", message: "no" });
  assert.deepEqual(takeAll(queue), ["b"]);
  queue.done("b");
  assert.deepEqual(takeAll(queue), []);
  assert.deepEqual(queue.waitsFor("x"), ["a"]);
  queue.unpark("a");
  assert.deepEqual(takeAll(queue), ["a"]);
  queue.done("a");
  assert.deepEqual(takeAll(queue), ["x"]);
  assert.deepEqual(queue.counts(), { unsent: 2, parked: 0, oldest: null });
});

test("a failing act goes behind the others", () => {
  const queue = queueOf(reading("a", "1"), reading("b", "2"), reading("c3", "3"));
  assert.equal(queue.take(1)[0].id, "a");
  queue.putBack("a");
  assert.deepEqual(takeAll(queue), ["b", "c3", "a"]);
});

test("parked acts stay parked over a restart", () => {
  const parked = { ...reading("a", "1"), state: "parked" };
  const queue = queueOf(parked, reading("b", "1"));
  assert.deepEqual(takeAll(queue), ["b"]);
});

test("whatever is parked and freed, every act leaves exactly once and in the order of its station", () => {
  for (let round = 0; round < 300; round += 1) {
    const queue = new SendQueue();
    const last = new Map();
    const place = new Map();
    for (let i = 0; i < 40; i += 1) {
      const station = String(Math.floor(Math.random() * 5));
      const before = last.get(station);
      queue.admit(reading(`r${i}`, station, before && Math.random() < 0.5 ? { supersedes: before } : {}));
      last.set(station, `r${i}`);
      place.set(`r${i}`, { station, i });
    }
    const left = [];
    let parked = [];
    for (let guard = 0; queue.items.size && guard < 5000; guard += 1) {
      const [item] = queue.take(1);
      if (!item || Math.random() < 0.1) {
        parked.forEach((id) => queue.unpark(id));
        parked = [];
      }
      if (!item) continue;
      const luck = Math.random();
      if (luck < 0.2) queue.putBack(item.id);
      else if (luck < 0.3) {
        queue.park(item.id, { code: "refused" });
        parked.push(item.id);
      } else {
        queue.done(item.id);
        left.push(item);
      }
    }
    assert.equal(queue.items.size, 0);
    assert.equal(new Set(left.map((item) => item.id)).size, 40);
    for (const { id, body } of left) {
      const named = body.said.supersedes;
      if (named) assert.ok(left.findIndex((one) => one.id === named) < left.findIndex((one) => one.id === id));
    }
  }
});
