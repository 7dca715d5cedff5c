// A new check on a joint that is carried, with or without a network.
import { countOf, holdingInWords, holdingOf, obstacle, partsOffered, placeOf, whereOf } from "../core/check_choices.js";
import { beginCheck, carry } from "../state/carried_data.js";
import { el, once, say, stamp } from "./dom.js";
import { endScan, offerScan, scan } from "./label_scan.js";

const CHOOSE = "choose";

const withId = (rows, id) => rows.find((row) => row.id === Number(id));
const option = (row, text) => el("option", { value: row.id ?? "" }, text);
const fill = (select, rows, text = ({ label }) => label) => select.replaceChildren(...rows.map((row) => option(row, text(row))));

export async function openNew(tablet) {
  const { here, problem } = await carry(tablet);
  const form = new NewCheck(tablet, here);
  const { ui } = form;
  ui.form.hidden = !here;
  if (here) form.open();
  else ui.note.textContent = problem?.message;
  return { ...ui, close: endScan };
}

class NewCheck {
  constructor(tablet, here) {
    // chosen: a person chose the joint; the first of the list gives way to a part that sits elsewhere.
    // asLast: the holding of the last check as it was recorded, while the fields still say the same.
    Object.assign(this, { tablet, here, joint: null, chosen: false, asLast: null });
    this.ui = stamp("new", { scan: () => scan(tablet, here, (field, id) => this.scanned(field, id)), again: () => this.holdAgain() });
  }

  open() {
    const { ui, here } = this;
    fill(ui.joint, here.joints, ({ label, name }) => `${label} ${name}`);
    // Nobody is given a gauge that they did not take; the only one is taken, unless the address names one: it may be carried or not.
    const unasked = here.instruments.length > 1 || location.search.includes("instrument") ? [{ id: CHOOSE, code: "choose" }] : [];
    fill(ui.instrument, [...unasked, ...here.instruments, { code: "none" }], ({ code, name = "" }) => `${code} ${name}`);
    ui.joint.onchange = () => {
      this.chosen = true;
      this.pickJoint();
    };
    ui.airframe.onchange = () => this.pickAirframe();
    const begin = once(() => this.begin());
    ui.form.onsubmit = (event) => {
      event.preventDefault();
      begin();
    };
    this.pickJoint();
    offerScan(ui.scan);
    for (const [field, id] of new URLSearchParams(location.search)) if (withId(here[`${field}s`] ?? [], id)) this.scanned(field, Number(id));
  }

  pickJoint() {
    const { ui, here } = this;
    const joint = (this.joint = withId(here.joints, ui.joint.value));
    fill(ui.airframe, here.airframes.filter(({ id }) => joint.airframes.includes(id)));
    ui.accepting.hidden = !joint.acceptance;
    ui.acceptance.textContent = joint.acceptance;
    this.pickAirframe();
  }

  pickAirframe() {
    const { ui, joint } = this;
    const airframe = ui.airframe.value;
    this.offer(ui.part, joint.designs, joint.parts[airframe]);
    this.offer(ui.surround, joint.surround_designs, joint.surrounds?.[airframe], { label: "not stated" });
    ui.again.hidden = !this.heldLast().length;
    ui.last.textContent = holdingInWords(this.heldLast());
    ui.earlier.textContent = joint.earlier?.[airframe]?.join("\n");
  }

  offer(select, designs, placed, ...first) {
    const { fitting, others } = partsOffered(this.here.parts, designs, placed);
    fill(select, [...first, ...fitting]);
    if (others.length) select.append(el("optgroup", { label: "of another design" }, others.map((part) => option(part, part.label))));
    if (placed) select.value = placed;
  }

  // How the part was held in the last check of this joint: offered, never taken for granted.
  heldLast() {
    return this.joint.held_last?.[this.ui.airframe.value] ?? [];
  }

  holdAgain() {
    const held = this.heldLast();
    for (const input of this.ui.form.querySelectorAll("[name^=held-]")) input.value = countOf(held, input.name.slice(5));
    this.ui.form.elements.where.value = whereOf(held);
    this.asLast = { held, fields: this.holdingFields() };
    say("Held as in the last check.");
  }

  holdingFields() {
    return JSON.stringify([...new FormData(this.ui.form)].filter(([name]) => name === "where" || name.startsWith("held-")));
  }

  place(joint, airframe) {
    this.ui.joint.value = joint.id;
    this.pickJoint();
    if (airframe) this.ui.airframe.value = airframe;
    this.pickAirframe();
  }

  // Puts what a label names into the form; a part brings the joint that it sits at.
  pick(field, id) {
    const { ui, here, joint } = this;
    if (field === "joint") {
      this.chosen = true;
      this.place(withId(here.joints, id));
    } else if (field !== "instrument" && !this.chosen) {
      const at = placeOf(field, id, joint, here.joints);
      if (at) this.place(at.joint, at.airframe);
    } else if (field === "airframe" && joint.airframes.includes(id)) this.place(joint, id);
    const fits = [...ui[field].options].some(({ value }) => value === String(id));
    if (fits) ui[field].value = id;
    return fits;
  }

  scanned(field, id) {
    const { ui, here } = this;
    const { label, code = label } = withId(here[`${field}s`], id);
    const fits = this.pick(field, id);
    ui.note.textContent = fits ? "" : `${this.joint.label} is no joint of ${label}: choose another joint first.`;
    say(ui.note.textContent || `${code} is chosen.`, !fits);
    ui[field].focus();
  }

  // What the form says, as rows of what is carried.
  choice() {
    const { joint, here, ui } = this;
    const fields = new FormData(ui.form);
    const text = (name) => fields.get(name).trim();
    const row = (name, rows = `${name}s`) => withId(here[rows], text(name));
    const instrument = row("instrument") ?? null;
    const finish = text("finish");
    return {
      joint,
      instrument,
      finish,
      airframe: row("airframe"),
      part: row("part"),
      surround: row("surround", "parts"),
      reason: text("reason"),
      why: text("why"),
      temperature: text("temperature"),
      note: text("note"),
      instrumentChosen: text("instrument") !== CHOOSE,
      judged: joint.limits.find((limits) => limits.finish === finish && limits.u_nm === (instrument?.u_nm ?? null)),
      accepted: Boolean(joint.acceptance && fields.get("accepted")),
      held: this.asLast?.fields === this.holdingFields() ? this.asLast.held : holdingOf(fields),
    };
  }

  async begin() {
    const choice = this.choice();
    const against = (this.ui.note.textContent = obstacle(choice));
    if (against) return void say(against, true);
    const id = await beginCheck(this.tablet, this.here, choice);
    if (id) this.tablet.go(`/tablet/check/${id}`);
  }
}
