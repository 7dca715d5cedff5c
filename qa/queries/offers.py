"""What is offered, as pages show it: before it is frozen, and after."""

from dataclasses import dataclass

from django.db.models import QuerySet
from django.utils.translation import gettext as _

from qa.models import (
    AcceptanceFinish,
    Check,
    Inspection,
    OfferedJoint,
    SecondReading,
)
from qa.models.fitups import held_in_words
from qa.rules import acceptable, acceptance, gauge_doubts, gauges, offering
from qa.rules.acceptance import Standing
from qa.wording import lengths
from qa.wording.offers import SHORT
from shop.wording import states


@dataclass(frozen=True)
class Cell:
    """One characteristic of a station: what stands, what the inspector read."""

    state: str
    value: str
    note: str
    seconds: tuple[tuple[str, str, str, str], ...] = ()


@dataclass(frozen=True)
class Row:
    """One station as it is offered: a line that can be remarked on."""

    station: str
    gap: Cell | None
    flush: Cell | None

    @property
    def cells(self) -> list[Cell | None]:
        return [self.gap, self.flush]


@dataclass(frozen=True)
class JointOffered:
    """One joint as it is, or would be, offered. Texts in `unit`."""

    joint: object
    airframe: object
    part: str
    surround: str
    revision: int
    fit_up: int
    unit: str
    asked: str
    condition: list[str]
    checks: list[dict]
    short: list[str]
    rows: list[Row]
    counts: list[tuple[str, str, int]]
    items: list[tuple[str, int, str]]
    to_raise: list[str]
    digest: str


def offered(
    row: OfferedJoint, unit: str, seconds: list[SecondReading] = (), to_raise=()
) -> JointOffered:
    """Return an offered joint (with fit_up__revision and joint) as a page shows it."""
    body, revision = row.content, row.fit_up.revision
    beside: dict = {}
    off = gauge_doubts.found_off(seconds)
    for second in seconds:
        beside.setdefault((second.station.label, second.kind), []).append(second)
    labels: dict[str, dict] = {}
    for line in body["lines"]:
        here = beside.get((line["station"], line["kind"]), ())
        cell = _cell(line, here, off, unit)
        labels.setdefault(line["station"], {})[line["kind"]] = cell
    condition = revision.acceptance_condition or _("not stated by the joint")
    if revision.acceptance_finish != AcceptanceFinish.ANY:
        condition += f", {revision.get_acceptance_finish_display()}"
    return JointOffered(
        joint=row.joint,
        airframe=row.fit_up.airframe,
        part=body["part"],
        surround=body["surround"] or "",
        revision=body["revision"],
        fit_up=body["fit_up"],
        unit=unit,
        asked=condition,
        condition=_condition(body),
        checks=body["checks"],
        short=[str(SHORT[code]) for code in body["short"]],
        rows=[
            Row(label, by_kind.get("gap"), by_kind.get("flush"))
            for label, by_kind in labels.items()
        ],
        counts=_counts(body),
        items=[(label, key, state) for label, key, state, _said in body["items"]],
        to_raise=list(to_raise),
        digest=row.digest,
    )


def _cell(line: dict, seconds, off: dict, unit: str) -> Cell:
    value = line["value_nm"]
    signed, beyond = line["kind"] == "flush", line["deviation_nm"]
    note = line["why"]
    if line["carried"]:
        note = _("kept by witnesses")
    if line["left_by"]:
        note = _("decided to stay so")
    return Cell(
        state=states.key_of(line["state"], line["deviation_nm"]),
        value=lengths.on_map(value, unit, signed=signed, beyond=beyond),
        note=note,
        seconds=tuple(
            (
                lengths.on_map(
                    second.value_nm, unit, signed=signed, beyond=second.deviation_nm
                ),
                states.key_of(second.verdict, second.deviation_nm),
                second.entry.author,
                doubt_of(second, off),
            )
            for second in seconds
        ),
    )


def doubt_of(second: SecondReading, off: dict) -> str:
    """Why what an inspector read is in doubt: its instrument does not read so far, or
    was found off since."""
    doubts = []
    if gauges.is_outside(second.value_nm, second.reach):
        doubts.append(str(SHORT["range"]))
    if second.pk in off:
        doubts.append(gauge_doubts.off_words(off[second.pk]))
    return "; ".join(doubts)


def _condition(body: dict) -> list[str]:
    """How it was held and finished, a line a check; else how it is held."""
    conditions = []
    for check in body["checks"]:
        words = [_("as accepted") if check["in_condition"] else "", check["finish"]]
        words.append(held_in_words(check["held"]) or _("how it was held is not stated"))
        conditions.append(f"{check['check']}: {', '.join(str(w) for w in words if w)}")
    return conditions or [held_in_words(body["held"])]


def _counts(body: dict) -> list[tuple[str, str, int]]:
    """(state, words, how many) of the lines, what is worst first."""
    counted: dict[str, int] = {}
    for line in body["lines"]:
        key = "left" if line["left_by"] else line["state"]
        counted[key] = counted.get(key, 0) + 1
    order = ("does_not_conform", "clash", "not_proven", "stale", "not_measured", "left")
    words = {"left": _("decided to stay so"), "clash": _("two values")}
    counts = []
    for key in (*order, "conforms", ""):
        if key in counted:
            row = states.VERDICTS.get(key)
            word = words.get(key) or str(row.many or row.word)
            counts.append((key, word, counted[key]))
    return counts


@dataclass(frozen=True)
class Offering:
    """What somebody is about to offer: every joint, and those that cannot be: never
    fitted, or not measured since."""

    joints: list[JointOffered]
    left_out: list[str]
    # Why it is not offered as it is.
    refused: str

    @property
    def digests(self) -> list[str]:
        return [joint.digest for joint in self.joints]


def about_to_offer(airframe, unit: str, **what) -> Offering:
    joints, never = offering.joints_of(airframe, **what)
    every = offering.drafts(airframe, joints)
    drafts = [draft for draft in every if draft.measured]
    unmeasured = [draft.state.joint for draft in every if not draft.measured]
    shown = [
        offered(
            draft.row,
            unit,
            to_raise=[finding.title(unit) for _check, finding in draft.to_raise],
        )
        for draft in drafts
    ]
    left_out = sorted(joint.number for joint in [*never, *unmeasured])
    no = acceptable.not_offered(drafts)
    return Offering(shown, left_out, no.message if no else "")


@dataclass(frozen=True)
class OfferedRow:
    """One offered joint in a list."""

    number: int
    order: int
    offer: str
    what: str
    joint: str
    airframe: str
    part: str
    state: str
    why: str
    by: str
    at: object
    inspected: str
    open_lines: int
    short: tuple[str, ...]


def offered_row(standing: Standing) -> OfferedRow:
    row, inspection = standing.offered, standing.inspection
    return OfferedRow(
        number=row.offer.number,
        order=row.order,
        offer=row.offer.label,
        what=row.offer.what,
        joint=f"{row.joint.number} {row.joint.name}",
        airframe=row.offer.airframe.serial,
        part=row.content["part"],
        state=standing.state,
        why=standing.why,
        by=row.entry.author,
        at=row.entry.received_at,
        inspected=inspection.entry.author if inspection else "",
        open_lines=len(offering.open_lines(row.content)),
        short=tuple(str(SHORT[code]) for code in row.content["short"]),
    )


def offered_joints(which: str = "") -> QuerySet[OfferedJoint]:
    """The newest of each joint: to inspect ("waiting"), decided, or all."""
    rows = acceptance.newest()
    if which == "waiting":
        # Their keys first: few wait, and all that was ever offered is long to join.
        done = Inspection.objects.order_by().values("offered")
        waiting = rows.exclude(pk__in=done).select_related(None).order_by()
        waiting = waiting.prefetch_related(None)
        rows = rows.filter(pk__in=list(waiting.values_list("pk", flat=True)))
    elif which == "decided":
        rows = rows.exclude(inspection=None)
    return rows.order_by("-pk")


def page_rows(rows) -> list[OfferedRow]:
    """Where each of some offered joints stands, in a constant number of statements."""
    rows = list(rows)
    standings = acceptance.standings(rows)
    return [offered_row(standings[row.pk]) for row in rows]


def queue() -> list[OfferedRow]:
    """What waits for an inspector and has not changed since, the oldest first."""
    rows = offered_joints("waiting").order_by("pk")
    return [row for row in page_rows(rows) if row.state == acceptance.OFFERED]


@dataclass(frozen=True)
class InspectedView:
    """An offered joint whole: as it was offered, what was said of it, what changed."""

    standing: Standing
    shown: JointOffered
    inspection: Inspection | None
    remarks: list
    newer: OfferedJoint | None


def inspected_view(row: OfferedJoint, unit: str) -> InspectedView:
    seconds = row.seconds.select_related("entry__by", "entry__confirmation", "station")
    inspection = getattr(row, "inspection", None)
    remarks = []
    if inspection:
        remarks = list(inspection.remarks.select_related("item__standing"))
    newer = (
        OfferedJoint.objects.filter(
            joint=row.joint, offer__airframe=row.offer.airframe_id, pk__gt=row.pk
        )
        .select_related("offer")
        .order_by("-pk")
        .first()
    )
    return InspectedView(
        standing=acceptance.standings([row])[row.pk],
        shown=offered(row, unit, list(seconds)),
        inspection=inspection,
        remarks=remarks,
        newer=newer,
    )


def joint_standing(joint, airframe) -> OfferedRow | None:
    """Where a joint on an airframe stands; None where it was never offered."""
    standing = acceptance.standing_of(joint, airframe)
    return offered_row(standing) if standing else None


def asks_instrument(row: OfferedJoint) -> bool:
    """Whether every check offered knows its uncertainty: a second reading beside any of
    them does too."""
    acts = [check["act"] for check in row.content["checks"]]
    unknown = Check.objects.filter(entry__in=acts, u_nm=None)
    return bool(acts) and not unknown.exists()
