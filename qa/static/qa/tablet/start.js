// The start of the tablet: checks carried along, and a new check on a joint that is carried, with or without a network.
import { el, say, stamp } from "./dom.js";

export async function carry(app) {
  const { status, json } = await app.link.ask("GET", "/api/carry", undefined, 30000);
  if (status !== 200 || !json?.joints) throw new Error("nothing to carry");
  await app.store.put("settings", json, "carry");
  return json;
}

const options = (rows, text) => rows.map((row) => el("option", { value: row.id ?? "" }, text(row)));

export class Start {
  constructor(app) {
    this.app = app;
  }

  async open() {
    Object.assign(this, stamp("start", { fetch: () => this.refresh() }));
    await this.paint();
    this.refresh();
    return this.node;
  }

  async refresh() {
    try {
      const found = await carry(this.app);
      for (const one of found.checks) await this.fetchCheck(one.uuid);
      this.note.textContent = "";
    } catch {
      this.note.textContent = "The server cannot be reached. What is carried here works without it.";
    }
    await this.paint();
  }

  async fetchCheck(id) {
    const { status, json } = await this.app.link.ask("GET", `/api/checks/${id}`);
    if (status === 200 && json?.check === id) await this.app.store.put("checks", { check: id, json });
  }

  async paint() {
    const { store } = this.app;
    const carried = await store.all("checks");
    const open = carried.filter(({ json }) => json.state === "open");
    this.carried.replaceChildren(...open.map(({ json }) => el("li", {}, el("a", { class: "button", href: `/tablet/check/${json.check}`, "data-go": "" }, el("b", {}, json.joint.name || json.joint.label), ` ${json.airframe.label}, ${json.part.serial}`, el("small", {}, json.label)))));
    if (!open.length && !this.note.textContent) this.note.textContent = "No open check is carried here.";
  }
}

export class NewCheck {
  constructor(app) {
    this.app = app;
  }

  async open() {
    const { store } = this.app;
    Object.assign(this, stamp("new"));
    this.carry = (await carry(this.app).catch(() => null)) ?? (await store.get("settings", "carry"));
    if (!this.carry) {
      this.note.textContent = "No joint is carried here yet: open this page once while the server can be reached.";
      this.form.hidden = true;
      return this.node;
    }
    this.joint.replaceChildren(...options(this.carry.joints, (one) => `${one.label} ${one.name}`));
    this.instrument.replaceChildren(...options([{ code: "none" }, ...this.carry.instruments], (one) => [one.code, one.name].filter(Boolean).join(" ")));
    this.joint.onchange = () => this.pickJoint();
    this.airframe.onchange = () => this.pickAirframe();
    this.form.onsubmit = (event) => {
      event.preventDefault();
      this.begin();
    };
    this.pickJoint();
    return this.node;
  }

  pickJoint() {
    this.chosen = this.carry.joints.find((one) => one.id === Number(this.joint.value));
    this.airframe.replaceChildren(...options(this.carry.airframes.filter((one) => this.chosen.airframes.includes(one.id)), (one) => one.label));
    this.pickAirframe();
  }

  pickAirframe() {
    const placed = this.chosen.parts?.[this.airframe.value];
    const fitting = this.carry.parts.filter((one) => !this.chosen.design || one.design === this.chosen.design);
    this.part.replaceChildren(...options(fitting, (one) => one.label));
    if (placed) this.part.value = placed;
  }

  held(fields) {
    const where = fields.get("where").trim();
    return [...fields.keys()].filter((name) => name.startsWith("held-") && Number(fields.get(name)) > 0).map((name) => ({ kind: name.slice(5), where, count: Number(fields.get(name)) }));
  }

  async begin() {
    const by = await this.app.person();
    if (!by) return;
    const fields = new FormData(this.form);
    const held = this.held(fields);
    const { chosen } = this;
    const finish = fields.get("finish");
    const instrument = this.carry.instruments.find((one) => one.id === Number(fields.get("instrument"))) ?? null;
    const judged = chosen.limits.find((one) => one.finish === finish && one.u_nm === (instrument?.u_nm ?? null));
    if (!judged?.stations) return void say(judged?.problem ?? "This joint cannot be judged with that instrument.", true);
    const { outbox, store } = this.app;
    const airframe = Number(fields.get("airframe"));
    const part = Number(fields.get("part"));
    const fitup = await outbox.add("fitup/1", by, { airframe, joint: chosen.id, revision: chosen.revision, part, surround_part: null, reason: fields.get("reason"), held, note: "" });
    const started = await outbox.add("check/1", by, { fitup: fitup.id, finish, instrument: instrument?.id ?? null, temperature: fields.get("temperature").trim(), note: fields.get("note").trim() });
    const label = (rows, id) => rows.find((one) => one.id === id)?.label ?? "";
    const json = {
      check: started.id,
      label: "new, not sent yet",
      state: "open",
      airframe: { label: label(this.carry.airframes, airframe) },
      joint: chosen,
      part: { serial: label(this.carry.parts, part) },
      units: chosen.units,
      map: chosen.map,
      stations: chosen.stations.map((one, row) => ({ ...one, ...judged.stations[row] })),
      readings: [],
    };
    await store.put("checks", { check: started.id, json });
    this.app.go(`/tablet/check/${started.id}`);
  }
}
