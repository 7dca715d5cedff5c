// What is on this tablet: every act that waits, why, and a way out by file when all else fails.
import { age, el, hour, stamp, why } from "./dom.js";

const SHOWN = 200;
const size = (bytes) => (bytes < 1e6 ? `${Math.ceil(bytes / 1e3)} kB` : `${(bytes / 1e6).toFixed(1)} MB`);

const base64 = (blob) =>
  new Promise((resolve) => {
    const reader = new FileReader();
    reader.onload = () => resolve(reader.result.split(",")[1]);
    reader.readAsDataURL(blob);
  });

export class Stored {
  constructor(app) {
    this.app = app;
  }

  async open() {
    const { outbox, people } = this.app;
    Object.assign(this, stamp("store", {
      send: () => outbox.kick(),
      file: () => this.save(),
      enroll: () => people.enroll(),
      again: ({ dataset }) => outbox.retry(dataset.id),
      aside: async ({ dataset }) => {
        const reason = await why("why-aside", "");
        if (reason) outbox.setAside(dataset.id, reason);
      },
    }));
    await this.paint();
    return this.node;
  }

  heard({ type }) {
    if (type === "counts") this.paint();
  }

  async paint() {
    const { store, outbox, link } = this.app;
    const { unsent, parked } = outbox.queue.counts();
    const [sent, checks, photos] = await Promise.all(["sent", "checks", "photos"].map((table) => store.count(table)));
    const space = await navigator.storage?.estimate?.();
    const kept = await navigator.storage?.persisted?.();
    const contact = outbox.lastContact;
    const facts = { unsent, parked, sent, checks, photos, contact: contact ? age(new Date(contact).toISOString()) : "not since this page opened", used: space ? size(space.usage) : "not told on plain http", kept: kept ? "promised" : "not promised", tablet: link.device || "not enrolled" };
    for (const [name, value] of Object.entries(facts)) this[name].textContent = value;
    const items = [...outbox.queue.items.values()].sort((a, b) => (b.state === "parked") - (a.state === "parked"));
    this.acts.replaceChildren(...items.slice(0, SHOWN).map((item) => this.row(item)));
    this.more.textContent = items.length > SHOWN ? `and ${items.length - SHOWN} more` : "";
  }

  row(item) {
    const { form, by, made_at, said } = item.body;
    const waits = this.app.outbox.queue.waitsFor(item.id).length;
    const what = [form.split("/")[0], said.station, said.kind, said.value || said.outcome, said.unit].filter(Boolean).join(" ");
    const touch = (act, words) => el("button", { type: "button", class: "button", "data-do": act, "data-id": item.id }, words);
    const how = item.problem ? item.problem.message : waits ? "waits for another" : "waits for the server";
    return el("li", { class: item.state }, el("b", {}, what), ` ${this.app.nameOf(by)}, ${hour(made_at)}: ${how} `, item.state === "parked" && [touch("again", "Send again"), touch("aside", "Do not send")]);
  }

  async save() {
    const { store, link } = this.app;
    const [acts, sent, photos] = await Promise.all([store.acts(), store.all("sent"), store.all("photos")]);
    const pictures = await Promise.all(photos.map(async ({ blob, ...rest }) => ({ ...rest, type: blob.type, data: await base64(blob) })));
    const file = { format: "fayline-tablet/1", tablet: link.device, database: link.database, saved_at: new Date().toISOString(), outbox: acts, sent, photos: pictures };
    const url = URL.createObjectURL(new Blob([JSON.stringify(file)], { type: "application/json" }));
    el("a", { href: url, download: `tablet-${file.saved_at.slice(0, 16).replace(/\D/g, "")}.json` }).click();
    setTimeout(() => URL.revokeObjectURL(url), 60000);
  }
}
