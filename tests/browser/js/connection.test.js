import assert from "node:assert/strict";
import { test } from "node:test";
import { Connection } from "../../../qa/static/qa/tablet/state/connection.js";

const store = { get: async () => undefined, put: async () => {} };
const told = (user, csrf) => ({ user, csrf, database: "d-1", people: [], proven: [] });

// A network whose answers come when, and in the order in which, the test lets them.
function networkOf() {
  const waiting = {};
  globalThis.fetch = (_path, { method }) => new Promise((done) => (waiting[method] = done));
  return (method, json, status = 200) => waiting[method]({ status, headers: new Headers(), json: async () => json ?? JSON.parse("<!doctype html>") });
}

test("what was asked before a sign-in is not believed after it", async () => {
  const answer = networkOf();
  const connection = new Connection(store, (...request) => globalThis.fetch(...request));
  const greeted = connection.session();
  const signedIn = connection.session("POST", { username: "ann", password: "secret" });
  answer("POST", told({ username: "ann" }, "new"));
  assert.equal((await signedIn).user.username, "ann");
  answer("GET", told(null, "old"));
  assert.equal((await greeted).user.username, "ann");
  assert.equal(connection.csrf, "new");
});

test("what was asked before a sign-in and came before it gives way to it", async () => {
  const answer = networkOf();
  const connection = new Connection(store, (...request) => globalThis.fetch(...request));
  const signedIn = connection.session("POST", { username: "ann", password: "secret" });
  const greeted = connection.session();
  answer("GET", told(null, "old"));
  assert.equal((await greeted).user, null);
  answer("POST", told({ username: "ann" }, "new"));
  assert.equal((await signedIn).user.username, "ann");
  assert.equal(connection.csrf, "new");
});

test("a page of a guest network is no session", async () => {
  const answer = networkOf();
  const connection = new Connection(store, (...request) => globalThis.fetch(...request));
  const greeted = connection.session();
  answer("GET", null);
  await assert.rejects(greeted, ({ status, problem }) => status === 0 && problem === undefined);
  assert.equal(connection.ready, false);
});
