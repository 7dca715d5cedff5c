// What is on this tablet: every act that waits, why, and a way out by file when all else fails.
import { age, el, hour, stamp, touch, why } from "./dom.js";

const SHOWN = 200;

const base64 = (blob) =>
  new Promise((resolve) => {
    const reader = new FileReader();
    reader.onload = () => resolve(reader.result.split(",")[1]);
    reader.readAsDataURL(blob);
  });

export async function openStored({ store, outbox, link, people, nameOf }) {
  const ui = stamp("store", {
    send: () => outbox.kick(),
    file: save,
    enroll: () => people.enroll().then(paint),
    again: ({ value }) => outbox.retry(value),
    aside: async ({ value }) => {
      const reason = await why("why-aside", "");
      if (reason) outbox.setAside(value, reason);
    },
  });

  let due = 0;
  const soon = () => (due ||= setTimeout(paint, 500));

  async function paint() {
    due = 0;
    const { unsent, parked } = outbox.queue.counts();
    const [sent, checks, photos] = await Promise.all(["sent", "checks", "photos"].map((table) => store.count(table)));
    const space = await navigator.storage?.estimate?.();
    const kept = await navigator.storage?.persisted?.();
    const contact = outbox.lastContact ? age(outbox.lastContact) : "not yet";
    const used = space ? `${(space.usage / 1e6).toFixed(1)} MB` : "not told on plain http";
    const facts = { unsent, parked, sent, checks, photos, contact, used, kept: kept ? "promised" : "not promised", tablet: link.name || "not enrolled" };
    for (const [name, value] of Object.entries(facts)) ui[name].textContent = value;
    const items = [...outbox.queue.items.values()].sort((a, b) => (b.state === "parked") - (a.state === "parked"));
    ui.acts.replaceChildren(...items.slice(0, SHOWN).map(row));
    ui.more.textContent = items.length > SHOWN ? `of ${items.length}` : "";
  }

  function row({ id, body, state, problem }) {
    const { form, by, made_at, said } = body;
    const what = [form.split("/")[0], said.station, said.kind, said.value || said.outcome, said.unit].filter(Boolean).join(" ");
    const how = problem ? problem.message : outbox.queue.waitsFor(id).length ? "waits for another" : "waits for the server";
    return el("li", { class: state }, el("b", {}, what), ` ${nameOf(by)}, ${hour(made_at)}: ${how} `, problem && [touch("again", "Send again", { value: id }), touch("aside", "Do not send", { value: id })]);
  }

  async function save() {
    const [acts, sent, photos] = await Promise.all(["outbox", "sent", "photos"].map((table) => store.all(table)));
    const pictures = await Promise.all(photos.map(async ({ blob, ...rest }) => ({ ...rest, type: blob.type, data: await base64(blob) })));
    const saved_at = new Date().toISOString();
    const file = { format: "fayline-tablet/1", tablet: link.device, database: link.database, saved_at, outbox: acts, sent, photos: pictures };
    const href = URL.createObjectURL(new Blob([JSON.stringify(file)], { type: "application/json" }));
    el("a", { href, download: `tablet-${saved_at.slice(0, 16).replace(/\D/g, "")}.json` }).click();
    setTimeout(() => URL.revokeObjectURL(href), 60000);
  }

  await paint();
  return { ...ui, heard: soon };
}
