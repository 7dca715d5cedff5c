// One check: the carried copy, what this tablet did over it, and what other tablets did, brought together every few seconds.
import { fetchCheck } from "./carried.js";
import { viewOf } from "./check.js";
import { stamp } from "./dom.js";
import { openEntry } from "./entry.js";
import { later } from "./later.js";
import { mapOf, sign } from "./map.js";
import { progress, slotsOf } from "./walk.js";

const LOOK_EVERY_MS = 4000;

export async function openCheck(app, id) {
  const { store, outbox, settings } = app;
  const acts = new Map();
  let check = (await store.get("checks", id))?.json ?? null;
  let seen = null;
  let entry = null;
  let summary = null;
  let looking = null;
  let due = 0;
  // Stations of which there is a photo: on the server, or still here.
  const photos = new Set();

  const keep = ({ id: act, seq, body, receipt, problem, state }) => {
    acts.set(act, { id: act, seq, body, receipt, problem: state === "parked" ? problem : null });
    seen = null;
  };
  const view = () => (seen ??= viewOf(check, [...acts.values()].sort((a, b) => a.seq - b.seq)));
  const actOf = (form) => [...acts.values()].filter((act) => act.body.form === form && !act.receipt?.aside).at(-1);

  // The server's copy; acts that it had acknowledged before it was asked are in it. One at a time: an older answer must not come last.
  const look = () => (looking ??= lookOnce().finally(() => (looking = null)));

  async function lookOnce() {
    const before = [...acts.values()].filter((act) => act.receipt);
    const told = await fetchCheck(app, id);
    if (!told) return;
    const changed = JSON.stringify(told) !== JSON.stringify(check);
    for (const act of before) if (act.body.form !== "raise/1") acts.delete(act.id);
    if (!changed && !before.length) return;
    check = page.check = told;
    for (const label of told.photos ?? []) photos.add(label);
    if (entry) refresh();
  }

  // A thousand receipts are one picture a frame.
  function refresh() {
    seen = null;
    due ||= requestAnimationFrame(() => {
      due = 0;
      entry.paint();
      paint();
    });
  }

  function paint() {
    const { done, of } = progress(page.slots, view().done);
    ui.progress.textContent = `${done} of ${of}`;
    map.paint(view(), entry.at(), photos);
    list?.paint(view(), entry.at());
    if (entry.node.inert) summary.paint();
  }

  const page = {
    settings,
    view,
    act: actOf,
    nameOf: (username) => app.nameOf(username),
    async record(form, said) {
      const by = await app.person();
      return by && outbox.add(form, by, { check: id, ...said });
    },
    keep: app.keep,
    photo: (about, words) => app.photos.take({ check: id, ...about }, words),
    photoOf: (slot) => app.photos.choose(check, slot),
    moved: () => entry && paint(),
    async full() {
      summary ??= (await later("summary")).summaryOf(page);
      show(summary);
    },
    finished: () => check.state === "finished" || Boolean(actOf("finish/1")),
    visit(station, kind) {
      if (page.finished()) return;
      show(entry);
      entry.visit(station, kind);
    },
    desk: () => show(entry),
  };

  async function theList() {
    const made = (await later("list")).stationList(check, page.visit);
    ui.sheet.append(made.node);
    return made;
  }

  // The desk keeps its place under the summary: nothing moves under a finger that comes or goes.
  function show(part) {
    entry.node.inert = part === summary;
    if (part === summary) ui.node.append(summary.node);
    else summary?.node.remove();
    part.paint();
    if (part === summary) summary.title.focus({ preventScroll: true });
  }

  for (const row of await store.sentOf(id)) keep(row);
  for (const item of outbox.queue.items.values()) if (item.body.said.check === id) keep(item);
  for (const { about } of await app.photos.all()) if (about.check === id) photos.add(about.station);
  if (!check) await look();
  if (!check) throw Error("This check is not on this tablet, and the server cannot be reached.");
  for (const label of check.photos ?? []) photos.add(label);
  Object.assign(page, { check, unit: settings.unit ?? check.units, slots: slotsOf(check.stations, settings.order, check.first) });
  const map = mapOf(check, page.visit);
  let list = null;
  const ui = stamp("check", {
    async list() {
      list ??= await theList();
      list.node.hidden = map.node.toggleAttribute("hidden") === false;
      ui.toggle.ariaPressed = !list.node.hidden;
      paint();
    },
    summary: page.full,
  });
  ui.sheet.append(map.node);
  for (const row of ui.legend.children) row.prepend(sign(row.dataset.shape));
  entry = openEntry(page);
  ui.node.append(entry.node);
  if (page.finished()) await page.full().catch(() => show(entry));
  else show(entry);
  paint();
  const timer = setInterval(() => document.visibilityState === "visible" && look(), LOOK_EVERY_MS);
  look();

  return {
    node: ui.node,
    close: () => clearInterval(timer),
    typing: () => !entry.node.inert && entry.typing(),
    keydown: (event) => entry.node.inert || entry.keydown(event),
    heard({ type, item, receipt, about }) {
      if (type === "photo" && about.check === id) {
        photos.add(about.station);
        refresh();
      }
      if (!["added", "receipt", "parked"].includes(type) || item.body.said.check !== id) return;
      keep({ ...item, receipt });
      refresh();
    },
    place: () => [check.joint.name || check.joint.label, check.airframe.label, check.part.serial, check.label].join(" · "),
  };
}
