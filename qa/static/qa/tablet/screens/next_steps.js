// What next: what the server worked out last, gone through row by row; what was really done is recorded, and the check after it begins.
import { itemsOf, wordsOf } from "../core/walk.js";
import { beginAfter, record, workOf } from "../state/next_work.js";
import { stamp } from "./dom.js";
import { sign } from "./map.js";

export async function openNext(tablet, check) {
  let work, items, shown;
  const ui = stamp("next", { walk, by, record: keep, again });
  const { node } = ui;
  const all = (selector) => ui.work.querySelectorAll(selector);
  ui.back.href = `/tablet/check/${check}`;

  async function look(ask) {
    work = await workOf(tablet, check, ask);
    const { json, etag, done } = work;
    // What is gone through does not change under a hand.
    if (node.dataset.state === "walk" && !done) return;
    if (json && etag !== shown) {
      // Made by our own server, which escapes what people wrote.
      ui.work.innerHTML = json.html;
      for (const at of all("[data-sign]")) at.prepend(sign(at.dataset.sign));
      shown = etag;
    }
    if (done) fill(done.body.said.items, "done");
    else node.dataset.state = "";
    ui.note.textContent = (done ?? work).problem?.message ?? "";
  }

  function fill(those, state) {
    items = those;
    node.dataset.state = state;
    all("[data-step]").forEach(tell);
  }

  function tell(row, k) {
    const { asked, done } = items[k];
    row.dataset.asked = asked || done ? 1 : 0;
    row.querySelector("input").required = asked;
    row.querySelector("output").textContent = wordsOf(work.json.words[k], items[k]);
    ui.form.elements.note.required = items.some((item) => !item.name && item.done > item.asked);
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
    const act = await beginAfter(tablet, work.done, work.json.again[value], all("[name=temperature]")[0].value);
    if (act) tablet.go(`/tablet/check/${act.id}`);
  }

  await look();
  look(true);
  return { node, heard: ({ type }) => look(type === "session") };
}
