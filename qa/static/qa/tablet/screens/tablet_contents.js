// What is on this tablet: every act and photo that waits, why, and a way out by file when all else fails.
import { fileName } from "../core/photo_rules.js";
import { removePhoto, retryPhoto } from "../state/photo_sending.js";
import { age, ask, el, hour, say, stamp, touch, why } from "./dom.js";
import { FileOfEverything, download } from "./file_export.js";
import { enroll } from "./sign_in.js";

const SHOWN = 200;
const countOf = (store, name) => store.read(name, (rows) => rows.count());

export async function openContents(tablet) {
  const screen = new Contents(tablet);
  await screen.paint();
  return screen;
}

class Contents {
  constructor(tablet) {
    this.tablet = tablet;
    // Rows of photos by id: made anew only when something changed, so that nobody loses the place.
    this.shown = new Map();
    this.ui = stamp("store", this.acts());
    this.node = this.ui.node;
    this.file = new FileOfEverything(tablet, this.ui.files);
  }

  acts() {
    const { outbox, photos } = this.tablet;
    const photoOf = (value) => this.shown.get(value).photo;
    return {
      send: () => outbox.kick(),
      file: () => this.file.save(),
      part: ({ value }) => this.file.savePart(Number(value)),
      enroll: () => enroll(this.tablet).then(() => this.paint()),
      again: async ({ value }) => (await outbox.start()).retry(value),
      aside: async ({ value }) => {
        const reason = await why("why-aside", "");
        if (reason) await (await outbox.start()).setAside(value, reason);
      },
      resend: ({ value }) => retryPhoto(photos, photoOf(value)),
      keep: ({ value }) => download(photoOf(value).blob, fileName(photoOf(value))),
      remove: ({ value }) => this.remove(photoOf(value)),
    };
  }

  async remove(photo) {
    if (!(await ask("remove", { place: photo.words }))) return;
    await removePhoto(this.tablet.photos, photo);
    say("The photo is removed.");
    await this.paint();
    this.node.querySelector("h1").focus();
  }

  heard() {
    this.due ||= setTimeout(() => this.paint(), 1000);
  }

  async paint() {
    this.due = 0;
    const { outbox, photos } = this.tablet;
    const pictures = await photos.all();
    const facts = await this.facts();
    for (const [name, value] of Object.entries(facts)) this.ui[name].textContent = value;
    const items = [...outbox.queue.items.values()].sort((a, b) => (b.state === "parked") - (a.state === "parked"));
    this.ui.acts.replaceChildren(...items.slice(0, SHOWN).map((item) => this.actRow(item)));
    this.paintPhotos(pictures.sort((a, b) => Boolean(b.problem) - Boolean(a.problem) || a.made_at.localeCompare(b.made_at)).slice(0, SHOWN));
    this.ui.more.textContent = items.length > SHOWN ? `of ${items.length}` : "";
  }

  // By the name of what shows it.
  async facts() {
    const { store, outbox, photos, connection } = this.tablet;
    const { unsent, parked } = outbox.queue.counts();
    const [sent, checks] = await Promise.all([countOf(store, "sent"), countOf(store, "checks")]);
    const space = await navigator.storage?.estimate?.();
    const kept = await navigator.storage?.persisted?.();
    const contact = outbox.lastContact ? age(outbox.lastContact) : "not yet";
    const used = space ? `${(space.usage / 1e6).toFixed(1)} MB` : "not told on plain http";
    return { unsent, parked: parked + photos.refused, sent, checks, photos: photos.kept - photos.refused, contact, used, kept: kept ? "promised" : "not promised", tablet: connection.name || "not enrolled" };
  }

  actRow({ id, body, state, problem }) {
    const { outbox, connection } = this.tablet;
    const { form, by, made_at, said } = body;
    // What is read in a study stays hidden until all is read.
    const what = [form.split("/")[0].replace("_", " "), said.station, said.kind, ...(said.study ? [] : [said.value || said.outcome, said.unit])].filter(Boolean).join(" ");
    const how = problem ? problem.message : outbox.queue.waitsFor(id).length ? "waits for another" : "waits for the server";
    return el("li", { class: state }, el("b", {}, what), ` ${connection.nameOf(by)}, ${hour(made_at)}: ${how} `, problem && [touch("again", "Send again", { value: id }), touch("aside", "Do not send", { value: id })]);
  }

  paintPhotos(list) {
    const { shown, ui } = this;
    const before = [...shown.values()].map(({ node }) => node);
    for (const photo of list) {
      const row = shown.get(photo.id);
      if (row && row.photo.problem?.message === photo.problem?.message) continue;
      shown.set(photo.id, { photo, node: this.photoRow(photo) });
    }
    const ids = list.map(({ id }) => id);
    for (const id of [...shown.keys()]) if (!ids.includes(id)) shown.delete(id);
    const rows = ids.map((id) => shown.get(id).node);
    if (rows.length !== before.length || rows.some((row) => !before.includes(row))) ui.pictures.replaceChildren(...rows);
  }

  photoRow(photo) {
    const { id, by, made_at, words, name, problem } = photo;
    const tell = el("p", {}, el("b", {}, `Photo of ${words}`), ` ${this.tablet.connection.nameOf(by)}, ${hour(made_at)}${name && `, ${name}`}: ${problem ? `refused. ${problem.message}` : "waits for the server"}`);
    const ways = { resend: "Send again", keep: "Save as file", remove: "Remove" };
    const keys = problem && el("div", { class: "choices" }, Object.entries(ways).map(([act, text]) => touch(act, text, { value: id, "aria-label": `${text}: photo of ${words}` })));
    return el("li", { class: problem ? "photo parked" : "photo" }, thumbnail(photo), el("div", {}, tell, keys));
  }
}

// A small picture of a photo; what the browser cannot show is told.
function thumbnail({ words, blob }) {
  const image = el("img", { class: "thumb", alt: `Photo of ${words}`, src: URL.createObjectURL(blob) });
  const done = () => URL.revokeObjectURL(image.src);
  image.onload = done;
  image.onerror = () => done(image.replaceWith(el("span", { class: "thumb" }, "no preview")));
  return image;
}
