// What a check came to, before and after it is finished. Counts before the server's answer are provisional and say so.
import { workOf } from "../state/next_work.js";
import { el, say, stamp, touch } from "./dom.js";
import { later } from "./later.js";
import { sign } from "./map.js";

// screen: see check.js.
export function summaryOf(screen) {
  const { session } = screen;
  let carried;
  const ui = stamp("summary", {
    back: () => screen.showDesk(),
    finish: async () => (await session.record("finish/1", { note: "" })) && say("The check is finished."),
    visit: ({ dataset }) => screen.visit(dataset.station, dataset.kind),
    photo: async ({ value, dataset }) => (await later("photo_capture")).take(session.tablet, { check: session.id, nonconformance: value }, dataset.words),
    async raise() {
      const findings = new FormData(ui.findings).getAll("finding").map(Number);
      if (findings.length) await session.record("raise/1", { findings });
      else say("Choose at least one.", true);
    },
  });
  for (const row of ui.counts.children) row.prepend(sign(row.dataset.shape));

  function refresh() {
    const { earlier } = session.check;
    ui.before.hidden = !earlier;
    ui.earlier.textContent = earlier?.lines.join("\n");
    ui.look.href = earlier?.url;
    const view = session.view();
    const own = counts(view, session.slots);
    const finished = session.finished();
    const finish = session.act("finish/1");
    const raising = session.act("raise/1");
    const proposal = finish?.receipt?.result ?? session.check.proposal;
    const counted = { ...own, ...proposal?.counts };
    const problem = finish?.problem ?? raising?.problem;
    const having = (...states) => session.slots.filter(({ station, kind }) => states.includes(view.slot(station, kind).state));
    ui.title.textContent = finished ? "The check is finished" : own.not_measured ? "Not finished yet" : "Everything is measured";
    ui.note.textContent = problem?.message;
    ui.here.hidden = !finished || !!proposal;
    ui.counted.hidden = finished || !!proposal;
    for (const row of ui.counts.children) row.querySelector("b").textContent = counted[row.dataset.count] ?? 0;
    // They keep their room, so that nothing comes under a finger in their stead.
    ui.back.disabled = ui.finish.disabled = finished;
    slotKeys(finished ? [] : having("not_measured", "clash"), ui.open, ui.left);
    slotKeys(proposal?.measure_again ?? having("not_proven"), ui.unproven, ui.again);
    ui.onwards.hidden = !finished;
    ui.next.href = `/tablet/next/${session.id}`;
    // Carried as soon as the server has the finished check, and again when that has changed.
    if (proposal && carried !== session.check) workOf(session.tablet, (carried = session.check).check, true);
    if (proposal) paintFindings(ui, session.check, proposal.findings, raising);
  }

  return { node: ui.node, title: ui.title, refresh };
}

function slotKeys(list, into, box) {
  box.hidden = !list.length;
  into.replaceChildren(...list.map(({ station, kind }) => touch("visit", `${station} ${kind}`, { "data-station": station, "data-kind": kind })));
}

// Those that somebody raised stay raised, and the others can still be.
function paintFindings(ui, check, findings, raising) {
  const known = check.nonconformances ?? [];
  const raised = known.length ? known : (raising?.receipt?.result?.nonconformances ?? []);
  const sent = raising && !raising.problem ? raising.body.said.findings : [];
  const isRaised = ({ kind, stations }) => known.some((item) => item.kind === kind && `${item.stations}` === `${stations}`);
  const left = findings.map((finding, index) => ({ ...finding, index })).filter((finding) => !isRaised(finding) && !sent.includes(finding.index));
  ui.found.hidden = !findings.length;
  ui.raise.hidden = !left.length;
  const shown = left.map(({ index }) => index).join();
  if (ui.findings.dataset.shown !== shown) ui.findings.replaceChildren(...left.map(({ title, index }) => el("label", { class: "check" }, el("input", { type: "checkbox", name: "finding", value: index, checked: "" }), ` ${title}`)));
  ui.findings.dataset.shown = shown;
  ui.raised.replaceChildren(...raised.map(({ id, label, url }) => el("li", { class: "choices" }, url ? el("a", { class: "button", href: url }, label) : label, touch("photo", "Photo", { value: id, "data-words": label, "aria-label": `Photo of ${label}` }))));
}

// What a check came to, as it is told here.
function counts(view, slots) {
  const counted = {};
  const column = { above: "does_not_conform", below: "does_not_conform", saved: "waiting" };
  for (const { station, kind } of slots) {
    const { state } = view.slot(station, kind);
    const name = column[state] ?? state;
    counted[name] = (counted[name] ?? 0) + 1;
  }
  return counted;
}
