// One check: carried copy, what this tablet did over it, and what other tablets did, brought together every few seconds.
import { WORDS, viewOf } from "./check.js";
import { el, stamp } from "./dom.js";
import { Entry } from "./entry.js";
import { StationList } from "./list.js";
import { JointMap, sign } from "./map.js";
import { Summary } from "./summary.js";
import { progress, slotsOf } from "./walk.js";

const LOOK_EVERY_MS = 4000;

export class CheckPage {
  constructor(app, id) {
    Object.assign(this, { app, id, acts: new Map(), check: null, settings: app.settings });
  }

  async open() {
    const { store, outbox } = this.app;
    for (const row of await store.sentOf(this.id)) this.keep(row);
    for (const item of outbox.queue.items.values()) if (item.body.said.check === this.id) this.keep(item);
    this.check = (await store.get("checks", this.id))?.json ?? null;
    if (!this.check) await this.look();
    if (!this.check) throw new Error("This check is not on this tablet, and the server cannot be reached.");
    this.unit = this.settings.unit ?? this.check.units;
    this.slots = slotsOf(this.check.stations, this.settings.order);
    this.build();
    this.timer = setInterval(() => document.visibilityState === "visible" && this.look(), LOOK_EVERY_MS);
    this.look();
    return this.node;
  }

  close() {
    clearInterval(this.timer);
  }

  build() {
    Object.assign(this, stamp("check", { list: () => this.turnList(), summary: () => this.showSummary() }));
    const pick = (station, kind) => {
      this.showDesk();
      this.entry.visit(station, kind);
    };
    this.map = new JointMap(this.check, pick);
    this.list = new StationList(this.check, pick);
    this.sheet.append(this.map.node, this.list.node);
    this.legend.append(...["conforms", "above", "below", "not_proven", "not_measured", "skipped"].map((state) => el("li", {}, sign(state), WORDS[state])));
    this.entry = new Entry(this);
    this.summary = new Summary(this);
    this.entry.paint();
    if (this.finished) this.showSummary();
    else this.showDesk();
    this.paint();
  }

  // The server's copy; acts that it had acknowledged before it was asked are in it.
  async look() {
    const { link, store } = this.app;
    const before = [...this.acts.values()].filter((act) => act.receipt);
    const answer = await link.ask("GET", `/api/checks/${this.id}`).catch(() => null);
    if (answer?.status !== 200 || answer.json?.check !== this.id) return;
    const changed = JSON.stringify(answer.json) !== JSON.stringify(this.check);
    for (const act of before) if (act.body.form !== "finish/1") this.acts.delete(act.id);
    this.check = answer.json;
    if (changed) await store.put("checks", { check: this.id, json: answer.json });
    if (changed && this.node) this.changed();
  }

  keep({ id, seq, body, receipt, problem, state }) {
    this.acts.set(id, { id, seq, body, receipt, problem: state === "parked" ? problem : null });
    this.seen = null;
  }

  heard({ type, item, receipt }) {
    if (!["added", "receipt", "parked"].includes(type) || item.body.said.check !== this.id) return;
    this.keep({ ...item, receipt });
    if (this.node) this.changed();
  }

  view() {
    this.seen ??= viewOf(this.check, [...this.acts.values()].sort((a, b) => a.seq - b.seq));
    return this.seen;
  }

  act(form) {
    return [...this.acts.values()].filter((act) => act.body.form === form && !act.receipt?.aside).at(-1);
  }

  get finished() {
    return this.check.state === "finished" || Boolean(this.act("finish/1"));
  }

  async record(form, said) {
    const by = await this.app.person();
    return by && this.app.outbox.add(form, by, { check: this.id, ...said });
  }

  nameOf(username) {
    return this.app.nameOf(username);
  }

  keepUnit(unit) {
    this.unit = unit;
    this.app.keep({ unit });
  }

  photo(slot) {
    this.app.photos.take({ check: this.id, station: slot.station, kind: slot.kind, about: "station" });
  }

  changed() {
    this.seen = null;
    if (!this.entry.busy) this.entry.paint();
    this.paint();
  }

  moved() {
    if (this.map) this.paint();
  }

  full() {
    this.showSummary();
  }

  paint() {
    const { done, of } = progress(this.slots, this.view().done);
    this.progress.textContent = `${done} of ${of}`;
    this.map.paint(this.view(), this.entry.at);
    this.list.paint(this.view(), this.entry.at);
    if (!this.summary.node.hidden) this.summary.paint();
  }

  turnList() {
    const on = this.list.node.hidden;
    this.list.node.hidden = !on;
    this.map.node.toggleAttribute("hidden", on);
    this.toggle.setAttribute("aria-pressed", on);
    this.paint();
  }

  showDesk() {
    if (this.finished) return;
    this.summary.node.hidden = true;
    this.node.append(this.entry.node);
    this.summary.node.remove();
  }

  showSummary() {
    this.summary.node.hidden = false;
    this.entry.node.remove();
    this.node.append(this.summary.node);
    this.summary.paint();
    this.summary.title.focus();
  }

  keydown(event) {
    if (this.entry.node.isConnected) this.entry.keydown(event);
  }

  get place() {
    const { joint, airframe, part, label } = this.check;
    return `${joint.name || joint.label} · ${airframe.label} · ${part.serial} · ${label}`;
  }
}
