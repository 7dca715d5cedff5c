// The page of one check: drawing or list, and beside it the desk or the summary.
import { progress } from "../core/station_order.js";
import { CheckSession } from "../state/check_session.js";
import { Desk } from "./desk.js";
import { alarmOnce, plainError, stamp } from "./dom.js";
import { later } from "./later.js";
import { StationMap, sign } from "./map.js";

const LOOK_EVERY_MS = 4000;

export async function openCheck(tablet, id) {
  let screen = null;
  const session = await new CheckSession(tablet, id, () => screen?.refresh()).open();
  screen = new CheckScreen(session);
  await screen.start();
  return screen;
}

class CheckScreen {
  constructor(session) {
    this.session = session;
    const visit = (station, kind) => this.visit(station, kind);
    this.map = new StationMap(session.check, visit);
    this.ui = stamp("check", { list: () => this.turnList(visit), summary: () => this.full() });
    this.node = this.ui.node;
    this.ui.sheet.append(this.map.node);
    for (const row of this.ui.legend.children) row.prepend(sign(row.dataset.shape));
    this.desk = new Desk(session, { moved: () => this.paint(), ended: () => this.full() });
    this.node.append(this.desk.node);
  }

  async start() {
    if (this.session.finished()) await this.full().catch(alarmOnce);
    this.paint();
    const look = async () => {
      const problem = await this.session.look();
      if (problem) alarmOnce(plainError(`Not brought up to date: ${problem.message}`));
    };
    this.timer = setInterval(() => document.visibilityState === "visible" && look(), LOOK_EVERY_MS);
    look();
  }

  close() {
    clearInterval(this.timer);
  }

  // A thousand receipts are one picture a frame.
  refresh() {
    this.due ||= requestAnimationFrame(() => {
      this.due = 0;
      this.desk.refresh();
      this.paint();
    });
  }

  paint() {
    const { session, ui, desk } = this;
    const { done, of } = progress(session.slots, session.view().done);
    ui.progress.textContent = `${done} of ${of}`;
    this.map.paint(session.view(), desk.entry.at, session.photos);
    this.list?.paint(session.view(), desk.entry.at);
    if (desk.node.inert) this.summary.refresh();
  }

  async turnList(visit) {
    const { stationList } = await later("station_list");
    if (!this.list) this.ui.sheet.append((this.list = stationList(this.session.check, visit)).node);
    this.list.node.hidden = this.map.node.toggleAttribute("hidden") === false;
    this.ui.toggle.ariaPressed = !this.list.node.hidden;
    this.paint();
  }

  // Asked for again before its module is here, it is made once.
  async full() {
    const { summaryOf } = await later("summary");
    this.summary ??= summaryOf(this);
    this.show(this.summary);
  }

  // The desk keeps its place under the summary: nothing moves under a finger that comes or goes.
  show(part) {
    const { desk, summary } = this;
    desk.node.inert = part === summary;
    part.refresh();
    if (part === summary) {
      this.node.append(summary.node);
      summary.title.focus({ preventScroll: true });
    } else summary?.node.remove();
  }

  showDesk() {
    this.show(this.desk);
  }

  visit(station, kind) {
    if (this.session.finished()) return;
    this.showDesk();
    this.desk.entry.soon(() => this.desk.entry.visit(station, kind));
  }

  typing() {
    return !this.desk.node.inert && this.desk.isTyping();
  }

  keydown(event) {
    if (!this.desk.node.inert && this.desk.keydown(event)) event.preventDefault();
  }

  heard(event) {
    this.session.heard(event);
  }

  place() {
    const { joint, airframe, part, label } = this.session.check;
    return [joint.name || joint.label, airframe.label, part.serial, label].join(" · ");
  }
}
