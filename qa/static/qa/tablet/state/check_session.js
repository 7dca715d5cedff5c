// One session of a check: the server's copy, what this tablet did over it, and what other tablets did, brought together.
import { viewOf } from "../core/readings.js";
import { slotsOf } from "../core/station_order.js";

export class CheckSession {
  // tablet: {store, connection, outbox, photos, settings, person(), tell()}; changed(): there is something else to see.
  constructor(tablet, id, changed) {
    Object.assign(this, { tablet, id, changed, check: null, acts: new Map(), photos: new Set(), seen: null });
  }

  async open() {
    const { store, outbox, photos, settings } = this.tablet;
    this.check = (await store.get("checks", this.id))?.json;
    for (const row of await store.sentOf(this.id)) this.keep(row);
    for (const item of outbox.queue.items.values()) if (item.body.said.check === this.id) this.keep(item);
    // Stations of which there is a photo: on the server, or still here.
    for (const { about } of await photos.all()) if (about.check === this.id) this.photos.add(about.station);
    const problem = this.check ? null : await this.look();
    if (!this.check) throw Error(problem?.message ?? "This check is not on this tablet, and the server cannot be reached.");
    for (const label of this.check.photos ?? []) this.photos.add(label);
    this.unit = settings.unit ?? this.check.units;
    this.slots = slotsOf(this.check.stations, settings.order, this.check.first);
    return this;
  }

  keep({ id, seq, body, receipt, problem, state }) {
    this.acts.set(id, { id, seq, body, receipt, problem: state === "parked" ? problem : null });
    this.seen = null;
  }

  view() {
    return (this.seen ??= viewOf(this.check, [...this.acts.values()].sort((a, b) => a.seq - b.seq)));
  }

  // The last act of this form that stands.
  act(form) {
    return [...this.acts.values()].filter((act) => act.body.form === form && !act.receipt?.aside).at(-1);
  }

  finished() {
    return this.check.state === "finished" || Boolean(this.act("finish/1"));
  }

  // The act; null where nobody says who is measuring.
  async record(form, content) {
    const by = await this.tablet.person();
    return by && this.tablet.outbox.add(form, by, { check: this.id, ...content });
  }

  // One at a time: an older answer must not come last.
  look() {
    return (this.looking ??= this.lookOnce().finally(() => (this.looking = null)));
  }

  // The server's copy; acts that it had acknowledged before it was asked are in it. Resolves to why it refused, if it did.
  // What was begun here and is still here the server cannot know.
  async lookOnce() {
    if (this.tablet.outbox.queue.items.has(this.id)) return null;
    const before = [...this.acts.values()].filter((act) => act.receipt);
    const answer = await fetchCheck(this.tablet, this.id);
    const { check } = answer;
    if (!check) return answer.problem;
    const changed = JSON.stringify(check) !== JSON.stringify(this.check);
    for (const act of before) if (act.body.form !== "raise/1") this.acts.delete(act.id);
    if (!changed && !before.length) return null;
    this.check = check;
    for (const label of check.photos ?? []) this.photos.add(label);
    this.seen = null;
    this.changed();
    return null;
  }

  // What the outbox or the camera told.
  heard({ type, item, receipt, about }) {
    if (type === "photo" && about.check === this.id) this.photos.add(about.station);
    else if (["added", "receipt", "parked"].includes(type) && item.body.said.check === this.id) this.keep({ ...item, receipt });
    else return;
    this.changed();
  }
}

// The server's copies of checks, kept on the tablet. Asked for again and again, so with the tag of the copy that is here.
// {check: the newest copy or null, problem: why the server refused, if it did}.
export async function fetchCheck({ connection, store, tell }, id) {
  const stored = await store.get("checks", id);
  const known = stored?.etag;
  const answer = await connection.ask("GET", `/api/checks/${id}`, { known });
  const { status, json, etag } = answer;
  const same = status === 304 && stored;
  if (!same && (status !== 200 || json?.check !== id)) return { check: null, problem: json?.error };
  const copy = { check: id, json: same ? stored.json : json, etag };
  // It is shown even where it cannot be kept for later.
  if (etag !== known) await store.put("checks", copy).catch((error) => tell({ type: "trouble", error }));
  return { check: copy.json };
}
