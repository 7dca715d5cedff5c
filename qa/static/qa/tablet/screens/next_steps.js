// What next: what the server worked out last, gone through row by row; what was really done is recorded, and the check after it begins.
import { itemsOf, wordsOf } from "../core/steps.js";
import { add, beginAfter, record, workOf } from "../state/next_work.js";
import { stamp } from "./dom.js";
import { sign } from "./map.js";

function put({ node, work, note }, { json, etag, done, taken, problem }) {
  node.toggleAttribute("data-taken", taken);
  note.textContent = (done ? done.problem : problem)?.message;
  if (!json || etag === work.dataset.shown) return;
  // Made by our own server, which escapes what people wrote.
  work.innerHTML = json.html;
  work.dataset.shown = etag;
  for (const at of work.querySelectorAll("[data-sign]")) at.prepend(sign(at.dataset.sign));
}

function paint({ work, form }, items, { words }) {
  work.querySelectorAll("[data-step]").forEach((row, k) => {
    const item = items[k];
    row.dataset.asked = item.asked || item.done ? 1 : 0;
    row.querySelector("input").required = item.asked;
    row.querySelector("output").textContent = wordsOf(words[k], item);
  });
  form.elements.note.required = items.some(({ name, done, asked }) => !name && done > asked);
}

export async function openNext(tablet, check) {
  let work, items, turn, waits;
  const take = ({ value }) => add(tablet, "take/1", { check, way: value, read_to: work.json.read_to }).then(() => look()); // until it is seen, another tap does nothing
  const ui = stamp("next", { walk, take, by, record: keep, again });
  const now = ui.node.dataset;
  ui.back.href = `/tablet/check/${check}`;

  async function look(ask) {
    const { state } = now;
    const next = await workOf(tablet, check, ask);
    // What is gone through does not change under a hand, and what was recorded meanwhile stands.
    if (!next.done && (now.state === "walk" || now.state !== state)) return;
    work = { ...work, ...next };
    const { done } = next;
    put(ui, work);
    if (done) fill(done.body.said.items, "done");
    else now.state = "";
  }

  // One question at a time, and one that waits: a tablet that is back with sixty readings would have a plan searched for sixty times.
  function ask() {
    waits ??= turn = turn.finally(() => look(!(waits = null)));
  }

  function fill(those, state) {
    items = those;
    now.state = state;
    paint(ui, items, work.json);
  }

  function walk({ value }) {
    fill(itemsOf(work.json, work.json.ways[value]), "walk");
    ui.title.focus();
  }

  function by({ value, parentNode }) {
    const k = parentNode.parentNode.dataset.step;
    const { low, words } = work.json.words[k];
    const done = items[k].done + Number(value);
    if (words[done - low]) items[k].done = done;
    fill(items, "walk");
  }

  async function keep() {
    const { note, more } = ui.form.elements;
    if (!ui.form.reportValidity()) return;
    await record(tablet, work, { check, items, note: note.value, more: more.checked });
    await look();
    ui.title.focus();
  }

  async function again({ value }) {
    const act = await beginAfter(tablet, work.done, work.json.again[value], ui.temperature.value);
    if (act) tablet.go(`/tablet/check/${act.id}`);
  }

  await (turn = look());
  ask();
  return { node: ui.node, heard: ({ type }) => (/session|receipt|parked/.test(type) ? ask() : look()), tick: () => work.problem && !tablet.outbox.pause && ask() };
}
