"""Hole patterns: required, revised whole, and measured."""

from dataclasses import asdict, dataclass

from django.utils.translation import gettext as _

from qa.models import (
    HoleCheck,
    HolePattern,
    HolePatternRevision,
    HoleReading,
    Instrument,
    PatternHole,
)
from qa.numeric.holes import position as numbers
from qa.numeric.holes.spacing import SPACING_RULES
from qa.rules import gauges
from qa.rules.holes import hole_found
from shop import roles
from shop.actions.numbers import next_number
from shop.ledger import Refused, perform
from shop.models import Part
from shop.numeric.units import LengthError, parse_typed, to_nm

METHOD = "holes/1"


@dataclass(frozen=True)
class HoleDraft:
    """One hole of a requirement to be, lengths in nm."""

    label: str
    x_nm: int
    y_nm: int
    zone_nm: int
    low_nm: int | None = None
    high_nm: int | None = None
    fastener_nm: int | None = None
    edge_nm: int | None = None


@dataclass(frozen=True)
class PatternHead:
    """What a revision says beside its holes."""

    note: str = ""
    source: str = ""
    spacing_rule: str = ""
    units: str = "mm"


@dataclass(frozen=True)
class MeasuredHole:
    """One hole as typed: place, diameter and distance to the edge, in one unit."""

    label: str
    x: str
    y: str
    size: str = ""
    edge: str = ""
    unit: str = "mm"


def define_pattern(
    *,
    by,
    number: str,
    name: str,
    holes: list[HoleDraft],
    says: PatternHead,
    joint=None,
    design=None,
    mate=None,
) -> HolePattern:
    """Make a pattern with its first revision. Refused when the number is taken."""

    roles.require(by, "define holes")
    if mate and mate == design:
        raise Refused(_("A pattern is through parts of two designs."), field="mate")
    pattern = HolePattern(
        number=number, name=name, joint=joint, design=design, mate=mate
    )
    pattern.full_clean(exclude=["current"])
    content = {
        "number": number,
        "name": name,
        "joint": joint and joint.pk,
        "design": design and design.pk,
        "mate": mate and mate.pk,
        **_content(holes, says),
    }
    with perform("hole_pattern/1", by=by, said=content) as act:
        pattern.save(force_insert=True)
        revision = _release(act, pattern, 1, holes, says)
        act.result = {"pattern": pattern.pk, "revision": str(revision.uuid)}
    return pattern


def revise_pattern(
    *, by, pattern: HolePattern, based_on: int, holes: list[HoleDraft],
    says: PatternHead,
) -> HolePatternRevision:  # fmt: skip
    """Release the next revision. Refused when somebody revised it in between."""
    roles.require(by, "define holes")
    content = {"pattern": pattern.pk, "based_on": based_on, **_content(holes, says)}
    with perform("hole_revision/1", by=by, said=content) as act:
        rows = HolePattern.objects.select_for_update(of=("self",), no_key=True)
        pattern = rows.get(pk=pattern.pk)
        newest = pattern.revisions.order_by("-number").values_list("number", flat=True)
        if newest[0] != based_on:
            raise Refused(
                _("Revision %(number)s was released in the meantime; look at it first.")
                % {"number": newest[0]},
                code="stale",
            )
        revision = _release(act, pattern, based_on + 1, holes, says)
        act.result = {"pattern": pattern.pk, "revision": str(revision.uuid)}
    return revision


def _content(holes: list[HoleDraft], says: PatternHead) -> dict:
    return {"holes": [asdict(hole) for hole in holes], "says": asdict(says)}


def _release(act, pattern, number, holes, says) -> HolePatternRevision:
    known = {rule.key for rule in SPACING_RULES}
    if says.spacing_rule and says.spacing_rule not in known:
        raise Refused(_("This spacing rule is not known."), field="spacing_rule")
    if not holes:
        raise Refused(_("A pattern has at least one hole."), field="holes")
    labels = [hole.label for hole in holes]
    if len(set(labels)) < len(labels):
        raise Refused(_("Two holes have the same name."), field="holes")
    for hole in holes:
        _checkhole_found(hole)
    revision = HolePatternRevision(pattern=pattern, number=number, **asdict(says))
    revision.full_clean(exclude=["entry"])
    act.record(revision)
    for order, hole in enumerate(holes):
        act.record(PatternHole(revision=revision, order=order, **asdict(hole)))
    pattern.current = revision
    pattern.save(update_fields=["current"])
    return revision


def _checkhole_found(hole_draft: HoleDraft) -> None:
    try:
        numbers.plan_holes(
            [
                hole_found(
                    hole_draft,
                    hole_draft.x_nm,
                    hole_draft.y_nm,
                    None,
                    hole_draft.edge_nm,
                )
            ]
        )
    except numbers.HoleError as why:
        raise Refused(
            _("Hole %(hole)s: %(why)s.") % {"hole": hole_draft.label, "why": why},
            field="holes",
        ) from None


def record_holes(
    *, by, revision: HolePatternRevision, part: Part, measured: list[MeasuredHole],
    instrument: Instrument | None = None, note: str = "",
) -> HoleCheck:  # fmt: skip
    """Keep one sitting at a pattern on one serial, each hole judged."""
    roles.require(by, "measure")
    if refused := gauges.refusal(instrument):
        raise Refused(refused, field="instrument")
    if not measured:
        raise Refused(_("No hole was measured."), field="holes")
    holes = {hole.label: hole for hole in revision.holes.all()}
    content = {
        "revision": str(revision.uuid),
        "part": part.serial,
        "instrument": instrument and instrument.pk,
        "measured": [asdict(hole) for hole in measured],
        "note": note,
    }
    with perform("hole_check/1", by=by, said=content) as act:
        check = HoleCheck(
            number=next_number("hole_check"),
            revision=revision,
            part=part,
            instrument=instrument,
            u_nm=instrument.u_nm if instrument else None,
            method=METHOD,
            note=note,
        )
        check.full_clean(exclude=["entry"])
        act.record(check)
        seen = set()
        for hole in measured:
            if hole.label not in holes or hole.label in seen:
                raise Refused(
                    _("Hole %(hole)s is not in this pattern, or there twice.")
                    % {"hole": hole.label},
                    field="holes",
                )
            seen.add(hole.label)
            reading = _reading(check, holes[hole.label], hole)
            if reading.size_nm is not None:
                reach = gauges.reach_of(instrument)
                gauges.hold_to_range([reading.size_nm], reach, "holes")
            act.record(reading)
        act.result = {"check": check.label}
    return check


def _reading(
    check: HoleCheck, hole: PatternHole, measured: MeasuredHole
) -> HoleReading:
    values = {}
    for name in ("x", "y", "size", "edge"):
        text = getattr(measured, name)
        try:
            values[name] = parse_typed(text, measured.unit) if text else None
        except LengthError as error:
            raise Refused(
                _("Hole %(hole)s: %(why)s.") % {"hole": measured.label, "why": error},
                field="holes",
            ) from None
    if values["x"] is None or values["y"] is None:
        raise Refused(
            _("Hole %(hole)s needs its measured place.") % {"hole": measured.label},
            field="holes",
        )
    read = hole_found(hole, values["x"], values["y"], values["size"], values["edge"])
    try:
        judged = numbers.plan_holes([read]).holes[0]
    except numbers.HoleError as why:
        raise Refused(
            _("Hole %(hole)s: %(why)s.") % {"hole": measured.label, "why": why},
            field="holes",
        ) from None
    return HoleReading(
        hole_check=check,
        hole=hole,
        x_nm=values["x"],
        y_nm=values["y"],
        size_nm=values["size"],
        edge_nm=values["edge"],
        typed={n: getattr(measured, n) for n in ("x", "y", "size", "edge")},
        unit=measured.unit,
        position_nm=to_nm(judged.position_mm),
        allowed_nm=to_nm(judged.allowed_mm),
        position_conforms=judged.position_conforms,
        size_conforms=judged.size_conforms,
    )
