// What is on this tablet: every act that waits, why, and a way out by file when all else fails.
import { age, ask, el, hour, say, stamp, touch, why } from "./dom.js";
import { fileName } from "./photos.js";
import { inParts } from "./rescue.js";

const SHOWN = 200;
const FILE_ROOM = 5e7;

const base64 = (blob) =>
  new Promise((resolve) => {
    const reader = new FileReader();
    reader.onload = () => resolve(reader.result.split(",")[1]);
    reader.readAsDataURL(blob);
  });

function download(blob, name) {
  const href = URL.createObjectURL(blob);
  el("a", { href, download: name }).click();
  setTimeout(() => URL.revokeObjectURL(href), 60000);
}

// A small picture of a photo; what the browser cannot show is told.
function thumbnail({ words, blob }) {
  const image = el("img", { class: "thumb", alt: `Photo of ${words}`, src: URL.createObjectURL(blob) });
  const done = () => URL.revokeObjectURL(image.src);
  image.onload = done;
  image.onerror = () => done(image.replaceWith(el("span", { class: "thumb" }, "no preview")));
  return image;
}

export async function openStored({ store, outbox, link, people, photos, nameOf }) {
  const ui = stamp("store", {
    send: () => outbox.kick(),
    file: save,
    part: ({ value }) => savePart(Number(value)),
    enroll: () => people.enroll().then(paint),
    again: ({ value }) => outbox.retry(value),
    aside: async ({ value }) => {
      const reason = await why("why-aside", "");
      if (reason) outbox.setAside(value, reason);
    },
    resend: ({ value }) => photos.retry(shown.get(value).photo),
    keep: ({ value }) => download(shown.get(value).photo.blob, fileName(shown.get(value).photo)),
    async remove({ value }) {
      const { photo } = shown.get(value);
      if (!(await ask("remove", { place: photo.words }))) return;
      await photos.remove(photo);
      say("The photo is removed.");
      await paint();
      ui.node.querySelector("h1").focus();
    },
  });
  // Rows of photos by id: made anew only when something changed, so that nobody loses the place.
  const shown = new Map();
  let parts = [];
  let saved_at = "";

  let due = 0;
  const soon = () => (due ||= setTimeout(paint, 1000));

  async function paint() {
    due = 0;
    const { unsent, parked } = outbox.queue.counts();
    const [sent, checks, pictures] = await Promise.all([store.count("sent"), store.count("checks"), photos.all()]);
    const { kept: all, refused } = photos.counts();
    const space = await navigator.storage?.estimate?.();
    const kept = await navigator.storage?.persisted?.();
    const contact = outbox.lastContact ? age(outbox.lastContact) : "not yet";
    const used = space ? `${(space.usage / 1e6).toFixed(1)} MB` : "not told on plain http";
    const facts = { unsent, parked: parked + refused, sent, checks, photos: all - refused, contact, used, kept: kept ? "promised" : "not promised", tablet: link.name || "not enrolled" };
    for (const [name, value] of Object.entries(facts)) ui[name].textContent = value;
    const items = [...outbox.queue.items.values()].sort((a, b) => (b.state === "parked") - (a.state === "parked"));
    ui.acts.replaceChildren(...items.slice(0, SHOWN).map(row));
    paintPhotos(pictures.sort((a, b) => Boolean(b.problem) - Boolean(a.problem) || a.made_at.localeCompare(b.made_at)).slice(0, SHOWN));
    ui.more.textContent = items.length > SHOWN ? `of ${items.length}` : "";
  }

  function row({ id, body, state, problem }) {
    const { form, by, made_at, said } = body;
    const what = [form.split("/")[0], said.station, said.kind, said.value || said.outcome, said.unit].filter(Boolean).join(" ");
    const how = problem ? problem.message : outbox.queue.waitsFor(id).length ? "waits for another" : "waits for the server";
    return el("li", { class: state }, el("b", {}, what), ` ${nameOf(by)}, ${hour(made_at)}: ${how} `, problem && [touch("again", "Send again", { value: id }), touch("aside", "Do not send", { value: id })]);
  }

  function paintPhotos(list) {
    const before = [...shown.values()].map(({ node }) => node);
    for (const photo of list) {
      const row = shown.get(photo.id);
      if (row && row.photo.problem?.message === photo.problem?.message) continue;
      shown.set(photo.id, { photo, node: photoRow(photo) });
    }
    const ids = list.map(({ id }) => id);
    for (const id of [...shown.keys()]) if (!ids.includes(id)) shown.delete(id);
    const rows = ids.map((id) => shown.get(id).node);
    if (rows.length !== before.length || rows.some((row) => !before.includes(row))) ui.pictures.replaceChildren(...rows);
  }

  function photoRow(photo) {
    const { id, by, made_at, words, name, problem } = photo;
    const tell = el("p", {}, el("b", {}, `Photo of ${words}`), ` ${nameOf(by)}, ${hour(made_at)}${name && `, ${name}`}: ${problem ? `refused. ${problem.message}` : "waits for the server"}`);
    const ways = { resend: "Send again", keep: "Save as file", remove: "Remove" };
    const keys = problem && el("div", { class: "choices" }, Object.entries(ways).map(([act, text]) => touch(act, text, { value: id, "aria-label": `${text}: photo of ${words}` })));
    return el("li", { class: problem ? "photo parked" : "photo" }, thumbnail(photo), el("div", {}, tell, keys));
  }

  // One file, or several with a button each: a browser saves no more than one at a touch.
  async function save() {
    const [acts, acknowledged, waiting] = await Promise.all(["outbox", "sent", "photos"].map((table) => store.all(table)));
    const sent = acknowledged.filter(({ photo }) => !photo);
    // All that the server does not have; of the rest, what the file may hold beside it.
    let room = FILE_ROOM;
    const kept = acknowledged.map(({ photo }) => photo).filter((photo) => photo && (room -= photo.blob.size) > 0);
    parts = inParts(acts, sent, [...waiting, ...kept]);
    saved_at = new Date().toISOString();
    const of = parts.length;
    ui.files.replaceChildren(...(of > 1 ? parts.map((_, k) => touch("part", `Save part ${k + 1} of ${of}`, { value: k })) : []));
    if (of > 1) say(`It takes ${of} files: save each of them.`);
    await savePart(0);
  }

  async function savePart(k) {
    const { photos: pictures, ...rows } = parts[k];
    const coded = await Promise.all(pictures.map(async ({ blob, ...rest }) => ({ ...rest, type: blob.type, data: await base64(blob) })));
    const file = { format: "fayline-tablet/1", tablet: link.device, database: link.database, saved_at, part: k + 1, of: parts.length, ...rows, photos: coded };
    const which = parts.length > 1 ? `-${k + 1}-of-${parts.length}` : "";
    download(new Blob([JSON.stringify(file)], { type: "application/json" }), `tablet-${saved_at.slice(0, 16).replace(/\D/g, "")}${which}.json`);
  }

  await paint();
  return { ...ui, heard: soon };
}
