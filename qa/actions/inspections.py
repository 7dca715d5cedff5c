"""What an inspector does with what was offered: reads again, accepts, or rejects."""

import hashlib
from dataclasses import dataclass

from django.utils.translation import gettext as _

from qa.actions import raising
from qa.models import (
    TITLE_MOST,
    Check,
    Inspection,
    InspectionOutcome,
    InspectionRemark,
    Instrument,
    Kind,
    Nonconformance,
    NonconformanceKind,
    OfferedJoint,
    SecondReading,
    Source,
    Station,
    Verdict,
)
from qa.rules import acceptable, acceptance, gauge_doubts, gauges, judging, offering
from qa.rules.judging import Typed
from shop import roles
from shop.actions.locks import locked
from shop.ledger import Refused, perform
from shop.ledger.canonical import canonical

WHOLE = ""
JUDGED = ("value_nm", "u_nm", "low_nm", "high_nm", "guard_nm", "rule", "method")
JUDGED += ("verdict", "deviation_nm", "probability")
RANGE = ("range_low_nm", "range_high_nm")


@dataclass(frozen=True)
class Remark:
    """What is said of one line: a station, or the joint whole ("")."""

    station: str
    text: str


def read_again(
    *,
    by,
    offered: OfferedJoint,
    station: str,
    kind: str,
    value: str,
    unit: str,
    instrument: Instrument | None = None,
) -> SecondReading:
    """Keep the inspector's own reading beside the builder's, judged by the same limits
    with the instrument that it was read with."""
    roles.require(by, "inspect")
    if kind not in Kind.values:
        raise Refused(_("Choose gap or flushness."), field="kind")
    if unit not in ("mm", "in"):
        raise Refused(_("Choose the unit."), field="unit")
    content = {"offered": str(offered.entry_id), "joint": offered.joint.number}
    content |= {"station": station, "kind": kind, "value": value, "unit": unit}
    content["instrument"] = instrument and instrument.code
    with perform("second_reading/1", by=by, said=content) as act:
        _open(by, offered)
        read = _judged(offered, station, kind, Typed("value", value, unit), instrument)
        second = SecondReading(
            offered=offered,
            station=read.station,
            kind=kind,
            instrument=instrument,
            value=value.strip(),
            unit=unit,
            **{name: getattr(read, name) for name in JUDGED},
            **dict(zip(RANGE, gauges.reach_of(instrument), strict=True)),
        )
        second.full_clean(exclude=["entry"])
        act.record(second)
        act.result = {"verdict": second.verdict, "value_nm": second.value_nm}
    return second


def _judged(offered: OfferedJoint, label: str, kind: str, typed: Typed, instrument):
    """The reading, judged as one of the check that the builder's stands in."""
    revision = offered.fit_up.revision
    station = Station.objects.filter(revision=revision, label=label).first()
    if station is None:
        raise Refused(
            _("The joint has no station %(station)s.") % {"station": label},
            field="station",
        )
    station.revision = revision
    line = next(
        (
            offered_line
            for offered_line in offered.content["lines"]
            if (offered_line["station"], offered_line["kind"]) == (label, kind)
            and offered_line["reading"]
        ),
        None,
    )
    acts = [read["act"] for read in offered.content["checks"]]
    checks = Check.objects.filter(entry__in=acts).select_related("instrument")
    if line:
        checks = checks.filter(readings=line["reading"])
    of = checks.order_by("-number").first()
    if of is None:
        raise Refused(_("No check of this was offered."), field="station")
    if instrument is None and of.u_nm is not None:
        raise Refused(_("Choose what you read it with."), field="instrument")
    if refused := gauges.refusal(instrument):
        raise Refused(refused, field="instrument")
    check = Check(fit_up=offered.fit_up, finish=of.finish, instrument=instrument)
    gauges.freeze(check, instrument)
    try:
        return judging.judged(check, station, kind, typed)
    except ValueError:
        raise Refused(
            _(
                "This joint is judged with a guard band: choose an instrument whose "
                "standard uncertainty is known."
            ),
            field="instrument",
        ) from None


def inspect(
    *,
    by,
    offered: OfferedJoint,
    outcome: str,
    shown: str,
    remarks: list[Remark] = (),
    note: str = "",
) -> Inspection:
    """Accept a joint as it was offered (`shown`: the digest that was looked at), accept
    it with remarks, or reject it line by line. Every remark becomes an item.

    Accepted is what conforms, or was decided to stay so and verified. What is stale,
    missing or not proven is accepted only with a remark of that line; what does not
    conform and nobody decided is not accepted at all.
    """
    roles.require(by, "inspect")
    remarks = [remark for remark in remarks if remark.text.strip()]
    details = {"offered": str(offered.entry_id), "joint": offered.joint.number}
    details |= {"outcome": outcome, "shown": shown, "note": note}
    details["remarks"] = [[remark.station, remark.text] for remark in remarks]
    with perform("inspect/1", by=by, said=details) as act:
        row = _open(by, offered)
        if shown != row.digest:
            raise Refused(_("Look at what is offered first."), code="stale")
        _allow(row, outcome, remarks)
        content = {
            "offered": row.digest,
            "seconds": list(row.seconds.order_by("pk").values_list("entry", flat=True)),
            "outcome": outcome,
            "remarks": details["remarks"],
            "note": note,
        }
        text = canonical({**content, "seconds": [str(k) for k in content["seconds"]]})
        inspection = Inspection(
            offered=row,
            outcome=outcome,
            digest=hashlib.sha256(text.encode()).hexdigest(),
            note=note,
        )
        inspection.full_clean(exclude=["entry"])
        act.record(inspection)
        items = [_remarked(act, inspection, row, remark) for remark in remarks]
        act.result = {"outcome": outcome, "nonconformances": items}
    return inspection


def _open(by, offered: OfferedJoint) -> OfferedJoint:
    """Hold what was offered; refused where somebody decided, where it changed, and to
    whoever did the work."""
    locked(offered)
    row = acceptance.whole().prefetch_related("fit_up__revision").get(pk=offered.pk)
    if getattr(row, "inspection", None):
        outcome = row.inspection.get_outcome_display()
        raise Refused(
            _("It was %(outcome)s already.") % {"outcome": outcome}, code="stale"
        )
    if (
        row.pk
        != acceptance.newest()
        .get(joint=row.joint_id, offer__airframe=row.offer.airframe_id)
        .pk
    ):
        raise Refused(_("It was offered again since: look at that."), code="stale")
    if changed := acceptance.standings([row])[row.pk].why:
        raise Refused(
            _(
                "This changed since it was offered: %(changed)s. It is offered again "
                "first."
            )
            % {"changed": changed},
            code="stale",
        )
    if by.pk in acceptance.doers(row):
        raise Refused(_("You did some of this work: somebody else inspects it."))
    return row


def _allow(row: OfferedJoint, outcome: str, remarks: list[Remark]) -> None:
    if outcome not in InspectionOutcome.values:
        raise Refused(
            _("Accept it, accept it with remarks, or reject it."), field="outcome"
        )
    body = row.content
    labels = {line["station"] for line in body["lines"]}
    labels |= {station.label for station in row.fit_up.revision.stations.all()}
    remarked = [remark.station for remark in remarks]
    if len(set(remarked)) < len(remarked) or set(remarked) - labels - {WHOLE}:
        raise Refused(_("That line was not offered."), field="remarks")
    if outcome == InspectionOutcome.REJECTED:
        if not remarks:
            raise Refused(_("Say at a line why it is rejected."), field="remarks")
        return
    if remarks and outcome == InspectionOutcome.ACCEPTED:
        raise Refused(
            _("There are remarks: accept it with them, or take them out."),
            field="outcome",
        )
    if not remarks and outcome == InspectionOutcome.WITH_REMARKS:
        raise Refused(_("Write the remarks."), field="remarks")
    if no := acceptable.refused(row):
        raise no
    _require_remarked(row, set(remarked))


def _require_remarked(row: OfferedJoint, remarked: set[str]) -> None:
    """A word at each line that is not shown to conform."""
    body = row.content
    read = list(row.seconds.select_related("station", "entry"))
    off = gauge_doubts.found_off(read)
    seconds = [
        second
        for second in read
        if second.verdict not in ("", Verdict.CONFORMS)
        or gauges.is_outside(second.value_nm, second.reach)
        or second.pk in off
    ]
    lines = {line["station"] for line in offering.open_lines(body)}
    lines |= {second.station.label for second in seconds}
    lines |= {WHOLE} if body["short"] else set()
    if missing := sorted(lines - remarked, key=lambda label: (len(label), label)):
        words = ", ".join(label or _("the joint whole") for label in missing)
        raise Refused(
            _(
                "Not shown to conform: %(words)s. Accept with a remark at each, or "
                "reject."
            )
            % {"words": words},
            field="outcome",
        )


def _remarked(act, inspection: Inspection, row: OfferedJoint, remarked: Remark) -> str:
    """Each remark is an item, with its own number."""
    text = remarked.text.strip()
    where = f"station {remarked.station}" if remarked.station else "the joint whole"
    item = raising.keep(
        act,
        Nonconformance(
            airframe_id=row.offer.airframe_id,
            kind=NonconformanceKind.OTHER,
            source=Source.INSPECTION,
            joint_id=row.joint_id,
            part_id=row.fit_up.part_id,
            title=raising.title_of(text),
            place=f"{row.joint.name}, {where}"[:200],
            stations=[remarked.station] if remarked.station else [],
            note=text if len(text) > TITLE_MOST else "",
        ),
    )
    remark = InspectionRemark(
        inspection=inspection,
        station=remarked.station,
        text=text,
        item=item,
    )
    act.record(remark)
    return item.label
