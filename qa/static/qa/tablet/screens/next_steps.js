// What next: what the server worked out last, gone through row by row; what was really done is recorded, and the check after it begins.
import { itemsOf, wordsOf } from "../core/walk.js";
import { beginAfter, record, workOf } from "../state/next_work.js";
import { stamp } from "./dom.js";
import { sign } from "./map.js";

// Made by our own server, which escapes what people wrote.
function put(into, html) {
  into.innerHTML = html;
  for (const at of into.querySelectorAll("[data-sign]")) at.prepend(sign(at.dataset.sign));
}

function paintRow(row, item, words) {
  row.dataset.asked = item.asked || item.done ? 1 : 0;
  row.querySelector("input").required = item.asked;
  row.querySelector("output").textContent = wordsOf(words, item);
}

export async function openNext(tablet, check) {
  let work, items, shown;
  const ui = stamp("next", { walk, by, record: keep, again });
  ui.back.href = `/tablet/check/${check}`;

  async function look(ask) {
    work = { ...work, ...(await workOf(tablet, check, ask)) };
    const { json, etag, done } = work;
    // What is gone through does not change under a hand.
    if (ui.node.dataset.state === "walk" && !done) return;
    if (json && etag !== shown) put(ui.work, json.html);
    shown = etag;
    if (done) fill(done.body.said.items, "done");
    else ui.node.dataset.state = "";
    ui.note.textContent = (done ?? work).problem?.message ?? "";
  }

  function fill(those, state) {
    items = those;
    ui.node.dataset.state = state;
    ui.work.querySelectorAll("[data-step]").forEach(tell);
  }

  function tell(row, k) {
    paintRow(row, items[k], work.json.words[k]);
    ui.form.elements.note.required = items.some(({ name, done, asked }) => !name && done > asked);
  }

  function walk({ value }) {
    fill(itemsOf(work.json, work.json.ways[value]), "walk");
    ui.title.focus();
  }

  function by({ value, parentNode }) {
    const row = parentNode.parentNode;
    const k = row.dataset.step;
    const { low, words } = work.json.words[k];
    const done = items[k].done + Number(value);
    if (words[done - low]) items[k].done = done;
    tell(row, k);
  }

  async function keep() {
    const { note, moved, more } = ui.form.elements;
    const { form, plan } = work.json;
    if (!ui.form.reportValidity()) return;
    await record(tablet, form, { check, plan, items, note: note.value, moved: moved.checked, more: more.checked });
    await look();
    ui.title.focus();
  }

  async function again({ value }) {
    const act = await beginAfter(tablet, work.done, work.json.again[value], ui.temperature.value);
    if (act) tablet.go(`/tablet/check/${act.id}`);
  }

  await look();
  look(true);
  return { node: ui.node, heard: ({ type }) => look(type === "session") };
}
