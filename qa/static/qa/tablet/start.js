// The start of the tablet: checks carried along, and a new check on a joint that is carried, with or without a network.
// A label that is scanned opens its check, or is chosen in a new one.
import { carriedBefore } from "./beside.js";
import { fetchCheck } from "./carried.js";
import { ask, el, once, say, stamp } from "./dom.js";
import { later } from "./later.js";

const CHOOSE = "choose";

// What the server gives to carry, else what is carried already.
async function carry({ link, store }) {
  const answer = await link.ask("GET", "/api/carry", undefined, 30000).catch(() => null);
  const here = answer?.json;
  // A page of a guest network must not take the place of what is carried.
  if (answer?.status !== 200 || !here?.checks) return { here: await store.get("settings", "carry") };
  await store.put("settings", here, "carry");
  return { here, fresh: true };
}

// Offered where the browser reads codes itself and the page may ask for the camera; fetched when it is used.
async function offerScan(button) {
  const formats = await globalThis.BarcodeDetector?.getSupportedFormats().catch(() => []);
  button.hidden = !(navigator.mediaDevices?.getUserMedia && formats?.includes("qr_code"));
}

// Goes on with a pick; opens a check; tells about everything else, and opens its page while the server answers.
async function scan(app, here, onPick, leave) {
  const { scanLabel } = await later("scan");
  const means = await scanLabel(here);
  if (!means) return;
  const { what, field, id, uuid, path, words, thing } = means;
  if (what === "pick") return void onPick(field, id);
  if (what === "check") return void app.go(`/tablet/check/${uuid}`);
  const online = (await app.link.ask("GET", "/api/session", undefined, 3000).catch(() => ({}))).json?.database;
  if (leave && online) return void location.assign(location.origin + path);
  const asking = ask("found", { words, note: online ? "" : "The server cannot be reached: its page does not open now." });
  for (const [name, there] of Object.entries({ open: online, photo: thing })) document.querySelector(`dialog [value=${name}]`).hidden = !there;
  const answer = await asking;
  if (answer?.value === "open") location.assign(location.origin + path);
  if (answer?.value === "photo") app.photos.take({ thing }, words);
}

const endScan = () => document.querySelector("dialog.scan")?.close();

export async function openStart(app) {
  const { store } = app;
  const picked = (field, id) => app.go(`/tablet/new?${field}=${id}`);
  const ui = stamp("start", { fetch: refresh, scan: async () => scan(app, await store.get("settings", "carry"), picked, true) });

  async function refresh() {
    const { here, fresh } = await carry(app);
    for (const { uuid } of fresh ? here.checks : []) await fetchCheck(app, uuid);
    await paint(fresh ? "" : "The server cannot be reached. What is carried here works without it.");
  }

  async function paint(note) {
    const open = (await store.all("checks")).map(({ json }) => json).filter(({ state }) => state === "open");
    ui.note.textContent = note || (open.length ? "" : "No open check is carried here.");
    ui.carried.replaceChildren(...open.map(({ check, joint, airframe, part, label, since }) => el("li", {}, el("a", { class: "button", href: `/tablet/check/${check}`, "data-go": "" }, el("b", {}, joint.name || joint.label), ` ${airframe.label}, ${part.serial}`, el("small", {}, since ? `${label}. Changed since: ${since}` : label)))));
  }

  await paint("");
  offerScan(ui.scan);
  refresh();
  return { ...ui, close: endScan };
}

export async function openNew(app) {
  const { here } = await carry(app);
  const ui = stamp("new", { scan: () => scan(app, here, scanned), again: holdAgain });
  ui.form.hidden = !here;
  if (!here) {
    ui.note.textContent = "No joint is carried here yet: open this page once while the server can be reached.";
    return ui;
  }
  const fill = (select, rows, text = ({ label }) => label) => select.replaceChildren(...rows.map((row) => el("option", { value: row.id ?? "" }, text(row))));
  const one = (rows, id) => rows.find((row) => row.id === Number(id));
  let joint;
  // Whether a person chose the joint; the first of the list gives way to a part that sits elsewhere.
  let chosen = false;
  // The holding of the last check as it was recorded, while the fields still say the same.
  let asLast = null;

  // Serials of a design that was here before, then loose ones of other designs; what sits at another place is none.
  function offer(select, designs, placed, ...first) {
    const fits = ({ id, design, airframe }) => id === placed || (designs?.length ? designs.includes(design) : !airframe);
    const others = here.parts.filter((part) => !fits(part) && !part.airframe);
    fill(select, [...first, ...here.parts.filter(fits)]);
    if (others.length) select.append(el("optgroup", { label: "of another design" }, others.map(({ id, label }) => el("option", { value: id }, label))));
    if (placed) select.value = placed;
  }

  function pickAirframe() {
    offer(ui.part, joint.designs, joint.parts[ui.airframe.value]);
    offer(ui.surround, joint.surround_designs, joint.surrounds?.[ui.airframe.value], { label: "not stated" });
    offerHolding();
  }

  // How the part was held in the last check of this joint: offered, never taken for granted.
  const heldLast = () => joint.held_last?.[ui.airframe.value] ?? [];

  function offerHolding() {
    ui.again.hidden = !heldLast().length;
    ui.last.textContent = heldLast().map(({ count, kind, where }) => [count, kind, where].filter(Boolean).join(" ")).join("; ");
  }

  const fieldsOfHolding = () => JSON.stringify([...new FormData(ui.form)].filter(([name]) => name === "where" || name.startsWith("held-")));

  function holdAgain() {
    const held = heldLast();
    for (const input of ui.form.querySelectorAll("[name^=held-]")) input.value = held.filter(({ kind }) => `held-${kind}` === input.name).reduce((sum, { count }) => sum + (count ?? 0), 0) || "";
    ui.form.elements.where.value = [...new Set(held.map(({ where }) => where).filter(Boolean))].join("; ").slice(0, 120);
    asLast = { held, fields: fieldsOfHolding() };
    say("Held as in the last check.");
  }

  function pickJoint() {
    joint = one(here.joints, ui.joint.value);
    fill(ui.airframe, here.airframes.filter(({ id }) => joint.airframes.includes(id)));
    ui.accepting.hidden = !joint.acceptance;
    ui.acceptance.textContent = joint.acceptance ?? "";
    pickAirframe();
  }

  function place(at, airframe) {
    ui.joint.value = at.id;
    pickJoint();
    if (airframe) ui.airframe.value = airframe;
    pickAirframe();
  }

  // Puts what a label names into the form; a part brings the joint that it sits at.
  function pick(field, id) {
    if (field === "joint") {
      chosen = true;
      place(one(here.joints, id));
    } else if (field !== "instrument" && !chosen) {
      const sits = ({ airframes, parts }) => (field === "part" ? Object.keys(parts).find((key) => parts[key] === id) : airframes.includes(id) && id);
      const at = sits(joint) ? joint : here.joints.find(sits);
      if (at) place(at, sits(at));
    } else if (field === "airframe" && joint.airframes.includes(id)) place(joint, id);
    const fits = [...ui[field].options].some(({ value }) => value === String(id));
    if (fits) ui[field].value = id;
    return fits;
  }

  function scanned(field, id) {
    const { label, code = label } = one(here[`${field}s`], id);
    const fits = pick(field, id);
    ui.note.textContent = fits ? "" : `${joint.label} is no joint of ${label}: choose another joint first.`;
    say(ui.note.textContent || `${code} is chosen.`, !fits);
    ui[field].focus();
  }

  function heldBy(fields) {
    if (asLast?.fields === fieldsOfHolding()) return asLast.held;
    const where = fields.get("where").trim();
    const kinds = [...fields].filter(([name, count]) => name.startsWith("held-") && count > 0);
    return kinds.map(([name, count]) => ({ kind: name.slice(5), where, count: Number(count) }));
  }

  async function begin() {
    const fields = new FormData(ui.form);
    const text = (name) => fields.get(name).trim();
    ui.note.textContent = text("instrument") === CHOOSE ? "Choose the instrument, or none." : "";
    if (ui.note.textContent) return void say(ui.note.textContent, true);
    const instrument = one(here.instruments, text("instrument")) ?? null;
    const finish = text("finish");
    const judged = joint.limits.find((limits) => limits.finish === finish && limits.u_nm === (instrument?.u_nm ?? null));
    ui.note.textContent = judged ? "" : "This joint cannot be judged with that instrument: choose another.";
    if (!judged) return void say(ui.note.textContent, true);
    const sits = one(here.parts, text("part")).airframe;
    if (sits && sits !== Number(text("airframe"))) ui.note.textContent = "That part sits on another airframe: take it out there first.";
    const accepted = Boolean(joint.acceptance && fields.get("accepted"));
    if (accepted && !heldBy(fields).length) ui.note.textContent = "In the acceptance condition it is held: say by what.";
    if (ui.note.textContent) return void say(ui.note.textContent, true);
    const by = await app.person();
    if (!by) return;
    const [airframe, part, surround] = [one(here.airframes, text("airframe")), one(here.parts, text("part")), one(here.parts, text("surround"))];
    // What an older server gave to carry has keys only.
    const [key, form] = joint.uuid ? ["uuid", 2] : ["id", 1];
    const fitup = await app.outbox.add(`fitup/${form}`, by, { airframe: airframe[key], joint: joint[key], revision: joint.revision, part: part[key], surround_part: surround?.[key] ?? null, reason: text("reason"), held: heldBy(fields), note: "", why: text("why") }, here.database);
    const { id } = await app.outbox.add(`check/${form}`, by, { fitup: fitup.id, finish, instrument: instrument?.[key] ?? null, temperature: text("temperature"), in_acceptance_condition: accepted, note: text("note") }, here.database);
    const stations = joint.stations.map((station, row) => ({ ...station, ...judged.stations[row] }));
    const older = (await app.store.all("checks")).map(({ json }) => json);
    const before = carriedBefore(older, { joint: joint.label, airframe: airframe.label, part: part.label });
    await app.store.put("checks", { check: id, json: { check: id, label: "new, not sent yet", state: "open", airframe, joint, part: { serial: part.label }, units: joint.units, map: joint.map, stations, readings: [], beside: before, holes: joint.holes, defects: joint.defects?.[airframe.id] } });
    app.go(`/tablet/check/${id}`);
  }

  fill(ui.joint, here.joints, ({ label, name }) => `${label} ${name}`);
  // Nobody is given a gauge that they did not take; the only one is taken.
  const unasked = here.instruments.length > 1 ? [{ id: CHOOSE, code: "choose", name: "" }] : [];
  fill(ui.instrument, [...unasked, ...here.instruments, { code: "none", name: "" }], ({ code, name }) => `${code} ${name}`);
  ui.joint.onchange = () => {
    chosen = true;
    pickJoint();
  };
  ui.airframe.onchange = pickAirframe;
  const beginOnce = once(begin);
  ui.form.onsubmit = (event) => {
    event.preventDefault();
    beginOnce();
  };
  pickJoint();
  offerScan(ui.scan);
  for (const [field, id] of new URLSearchParams(location.search)) if (one(here[`${field}s`] ?? [], id)) scanned(field, Number(id));
  return { ...ui, close: endScan };
}
