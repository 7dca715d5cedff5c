"""What is offered for inspection: one joint as it stands now, frozen and judged.

The body says everything as values and codes, never as sentences: which checks, in which
condition, what each station reads or why it reads nothing, which items are open.
"""

from collections import defaultdict
from dataclasses import dataclass

from django.utils.translation import gettext as _

from qa.models import (
    AcceptanceFinish,
    Check,
    Joint,
    Kind,
    Nonconformance,
    OfferedJoint,
    State,
)
from qa.numeric.verdict import acceptance
from qa.rules import gauge_doubts, history, judging, requirements, staleness
from qa.rules.plan_records import last_entry
from qa.rules.staleness import JointState, Value
from shop.ledger.canonical import frozen
from shop.models import Airframe, Part, PartState, Position

FORM = "offered/1"
CONFORMS = "conforms"
# Verified: it was decided to leave it so, and somebody else saw that.
LEFT = ("use_as_is", "repair")


@dataclass
class Draft:
    """One joint as it would be offered now."""

    state: JointState
    row: OfferedJoint
    # What does not conform and is no item yet: (check, finding).
    to_raise: list[tuple[Check, judging.Finding]]

    @property
    def body(self) -> dict:
        return self.row.content

    @property
    def measured(self) -> bool:
        """Whether anything was measured since the part last changed."""
        return bool(self.state.now.values)


def joints_of(
    airframe: Airframe, *, joint=None, part: Part | None = None, bay=None
) -> tuple[list[Joint], list[Joint]]:
    """The joints that a thing has on an airframe (without one, the airframe itself):
    those that were fitted, and those that never were."""
    rows = Joint.objects.filter(type=airframe.type_id).exclude(current=None)
    rows = rows.select_related("position", "surround", "current", "type")
    if joint:
        rows = rows.filter(pk=joint.pk)
    elif part:
        rows = rows.filter(pk__in=_fitted_now(airframe, part))
    else:
        line = airframe.line_number
        rows = [
            joint_row
            for joint_row in rows.order_by("number")
            if (bay is None or _inside(bay, joint_row.position))
            and joint_row.is_on(line)
        ]
    fitted = set(airframe.fit_ups.values_list("joint", flat=True))
    rows = list(rows)
    return (
        [joint_row for joint_row in rows if joint_row.pk in fitted],
        [joint_row for joint_row in rows if joint_row.pk not in fitted],
    )


def _fitted_now(airframe: Airframe, part: Part) -> list[int]:
    """Keys of the joints at which a serial was fitted last."""
    last = dict(airframe.fit_ups.order_by("number").values_list("joint", "part"))
    return [joint for joint, serial in last.items() if serial == part.pk]


def nothing_to_tell(airframe: Airframe) -> str:
    """Why no pack is issued of an airframe yet; "" where one can be."""
    if airframe.fit_ups.exists():
        return ""
    return _("Nothing was fitted on it yet: there is nothing to tell.")


def foreign(airframe: Airframe, *, joint=None, part=None, bay=None) -> str:
    """Why a thing is not of an airframe, in words; "" where it is: nothing may be told
    of it there as if it were."""
    of = joint or bay
    if of and of.type_id != airframe.type_id:
        return _("This is of another type of airframe.")
    if joint and not joint.is_on(airframe.line_number):
        words = _("%(airframe)s has no joint %(joint)s: its line number is another.")
        return words % {"airframe": airframe.serial, "joint": joint.number}
    if part is None or airframe.placements.filter(part=part, removed_at=None).exists():
        return ""
    last = {fit_up.joint_id: fit_up for fit_up in airframe.fit_ups.order_by("number")}
    fitted = {k for x in last.values() for k in (x.part_id, x.surround_part_id)}
    if part.pk in fitted:
        return ""
    words = _("%(part)s neither sits on %(airframe)s nor was fitted there last.")
    return words % {"part": part.serial, "airframe": airframe.serial}


def _inside(bay: Position, position: Position) -> bool:
    return position.pk == bay.pk or position.path.startswith(f"{bay.path} / ")


def drafts(airframe: Airframe, joints: list[Joint]) -> list[Draft]:
    """Each joint as it would be offered now, in the order given."""
    read_to = last_entry()
    states_by_joint = staleness.states(history.load(airframe, joints)) if joints else {}
    states = [
        states_by_joint[joint.pk] for joint in joints if joint.pk in states_by_joint
    ]
    checks = [check for state in states for check in checks_of(state)]
    doubts, findings = gauge_doubts.found_off(checks), judging.findings_of(checks)
    items = defaultdict(list)
    raised = Nonconformance.objects.filter(joint__in=joints, airframe=airframe)
    raised = raised.select_related("standing", "fit_check__fit_up", "defect")
    for item in raised.order_by("number"):
        items[item.joint_id].append(item)
    return [
        _draft(state, read_to, items[state.joint.pk], doubts, findings)
        for state in states
    ]


def _draft(state: JointState, read_to: int, items: list, doubts, findings) -> Draft:
    checks = checks_of(state)
    lines = lines_of(state, items)
    body = {
        "form": FORM,
        "airframe": state.airframe.serial,
        "joint": state.joint.number,
        "revision": state.revision.number,
        "newest_revision": state.joint.current.number,
        "fit_up": state.fit_up.number,
        "part": state.fit_up.part.serial,
        "surround": getattr(state.fit_up.surround_part, "serial", None),
        "held": _held(state),
        "checks": [_check(check) for check in checks],
        "short": short_of(state, checks, doubts),
        "lines": lines,
        "items": [
            [item.label, item.pk, item.standing.state, item.standing.disposition]
            for item in items
            if item.standing.state != State.CLOSED
        ],
        "relies_on": sorted({line["left_by"] for line in lines if line["left_by"]}),
    }
    row = OfferedJoint(
        joint=state.joint,
        fit_up=state.fit_up,
        read_to=read_to,
        **frozen(body),
    )
    return Draft(state, row, _to_raise(checks, findings, lines, items))


def _held(state: JointState) -> list[dict]:
    """How it is held now, as the newest check says, else its fit-up."""
    held = state.now.checks[-1].held if state.now.checks else []
    return held or state.fit_up.held


def checks_of(state: JointState) -> list[Check]:
    """The checks that what stands rests on, oldest first."""
    checks = {value.check.pk: value.check for value in state.now.values.values()}
    return sorted(checks.values(), key=lambda check: check.number)


def _check(check: Check) -> dict:
    return {
        "check": check.label,
        "act": str(check.entry_id),
        "state": check.state.state,
        "finish": check.finish,
        "held": check.held or check.fit_up.held,
        "in_condition": check.in_acceptance_condition,
        "instrument": getattr(check.instrument, "code", None),
        "by": check.entry.author,
    }


def in_condition(state: JointState, checks: list[Check]) -> bool:
    """Whether it was measured as the joint is accepted: held and finished so."""
    revision = state.revision
    finish = revision.acceptance_finish
    wanted = AcceptanceFinish.ANY, *{check.finish for check in checks}
    held = not revision.acceptance_condition or all(
        check.in_acceptance_condition for check in checks
    )
    alike = len({check.finish for check in checks}) <= 1
    return bool(checks) and held and finish in wanted and alike


def short_of(state: JointState, checks: list[Check], doubts) -> list[str]:
    """What the joint whole lacks, as codes; doubts are the keys of the checks whose
    instrument was found off since."""
    codes = []
    if state.off:
        codes.append("off")
    if state.joint.current.number != state.revision.number:
        codes.append("revision")
    if checks and not in_condition(state, checks):
        codes.append("condition")
    if any(check.state.state == "open" for check in checks):
        codes.append("unfinished")
    if any(check.state.late for check in checks):
        codes.append("late")
    parts = [state.fit_up.part, state.fit_up.surround_part]
    if any(part and part.state != PartState.GOOD for part in parts):
        codes.append("suspect")
    if any(check.pk in doubts for check in checks):
        codes.append("instrument")
    if any(_outside(value) for value in state.now.values.values()):
        codes.append("range")
    return codes


def _outside(value: Value) -> bool:
    """Whether what stands was read beyond what its instrument reads."""
    low, high = value.check.reach
    nm = value.reading.value_nm
    return nm is not None and acceptance.deviation(nm, low, high) != 0


def lines_of(state: JointState, items: list[Nonconformance]) -> list[dict]:
    """Every characteristic with limits, and every other that was measured."""
    lines = []
    finish = _finish(state)
    for station in state.seam.stations:
        for kind in Kind.values:
            key = (station.label, kind)
            value, old = state.now.values.get(key), state.now.stale.get(key)
            measured_bare = value.check.finish if value else finish
            wanted = requirements.requirement(station, kind, measured_bare)
            if wanted.empty and value is None:
                continue
            left = value and left_by(
                value.reading, kind, station.label, state.fit_up, items
            )
            lines.append(
                {
                    "station": station.label,
                    "kind": kind,
                    "limits": list(wanted.limits),
                    "state": _state_of(value, old, wanted.empty),
                    "value_nm": value.reading.value_nm if value else None,
                    "reading": value.reading.pk if value else None,
                    "deviation_nm": value.reading.deviation_nm if value else None,
                    "check": value.check.label if value else None,
                    "carried": bool(value and value.carried),
                    "why": old.why if old and not value else "",
                    "left_by": left,
                }
            )
    return lines


def _finish(state: JointState) -> str:
    checks = [check for epoch in state.epochs for check in epoch.checks]
    return checks[-1].finish if checks else "finished"


def _state_of(value: Value | None, old, without_limits: bool) -> str:
    if value is None:
        return "stale" if old else "not_measured"
    if value.clash:
        return "clash"
    return value.reading.verdict or ("" if without_limits else "not_measured")


def left_by(reading, kind: str, label: str, fit_up, items) -> int | None:
    """The item by which a reading that does not conform was decided to stay, verified:
    of the same serials, and no worse than what was decided, or as it was re-checked."""
    if reading.verdict != "does_not_conform":
        return None
    for item in items:
        standing = item.standing
        decided = standing.state in (State.VERIFIED, State.CLOSED)
        if not (decided and standing.disposition in LEFT and label in item.stations):
            continue
        if not item.fit_check_id or kind_of(item) != (kind, reading.deviation_nm < 0):
            continue
        was = item.fit_check.fit_up
        same = (was.part_id, was.surround_part_id) == (
            fit_up.part_id,
            fit_up.surround_part_id,
        )
        no_worse = abs(reading.deviation_nm) <= abs(item.worst_nm or 0)
        if same and (no_worse or reading.fit_check_id == standing.recheck_id):
            return item.pk
    return None


def kind_of(item: Nonconformance) -> tuple[str, bool]:
    """(gap or flush, whether it is under its limit) of an item of fit."""
    below = item.kind in ("gap_tight", "flush_low")
    return ("gap" if item.kind.startswith("gap") else "flush"), below


def _to_raise(checks, findings, lines, items) -> list[tuple[Check, judging.Finding]]:
    """The findings, of each check that stands, which nobody raised and which no item
    that is not closed covers already."""
    failing = {
        (line["check"], line["kind"], line["station"])
        for line in lines
        if line["state"] == "does_not_conform" and not line["left_by"]
    }
    handled = {
        (kind_of(item)[0], label)
        for item in items
        if item.of_fit and item.standing.state not in (State.VERIFIED, State.CLOSED)
        for label in item.stations
    }
    raised = {(item.fit_check_id, item.kind, item.stations_key) for item in items}
    new_findings = []
    for check in checks:
        for finding in findings[check.pk]:
            kind = "gap" if finding.kind.startswith("gap") else "flush"
            new = any(
                (check.label, kind, label) in failing and (kind, label) not in handled
                for label in finding.stations
            )
            if new and (check.pk, finding.kind, finding.key) not in raised:
                new_findings.append((check, finding))
    return new_findings


def open_lines(body: dict) -> list[dict]:
    """The lines that nobody can accept without a word: whatever neither conforms nor
    was decided to stay."""
    return [
        line
        for line in body["lines"]
        if not line["left_by"] and line["state"] not in (CONFORMS, "")
    ]


def failing_lines(body: dict) -> list[dict]:
    """The lines that do not conform and of which nothing is decided and verified."""
    return [line for line in open_lines(body) if line["state"] == "does_not_conform"]
