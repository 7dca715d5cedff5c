import assert from "node:assert/strict";
import { test } from "node:test";
import { Link } from "../../../qa/static/qa/tablet/link.js";

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
  const link = new Link(store);
  const greeted = link.session();
  const signedIn = link.session("POST", { username: "ann", password: "secret" });
  answer("POST", told({ username: "ann" }, "new"));
  assert.equal((await signedIn).user.username, "ann");
  answer("GET", told(null, "old"));
  assert.equal((await greeted).user.username, "ann");
  assert.equal(link.csrf, "new");
});

test("what was asked before a sign-in and came before it gives way to it", async () => {
  const answer = networkOf();
  const link = new Link(store);
  const signedIn = link.session("POST", { username: "ann", password: "secret" });
  const greeted = link.session();
  answer("GET", told(null, "old"));
  assert.equal((await greeted).user, null);
  answer("POST", told({ username: "ann" }, "new"));
  assert.equal((await signedIn).user.username, "ann");
  assert.equal(link.csrf, "new");
});

test("a page of a guest network is no session", async () => {
  const answer = networkOf();
  const link = new Link(store);
  const greeted = link.session();
  answer("GET", null);
  await assert.rejects(greeted, ({ status, problem }) => status === 200 && problem === undefined);
  assert.equal(link.ready, false);
});
