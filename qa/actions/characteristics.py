"""Characteristics beside gap and flushness: planned, revised, and found so or not."""

from dataclasses import asdict, dataclass

from django.utils.translation import gettext as _

from qa.models import (
    Characteristic,
    CharacteristicResult,
    CharacteristicRevision,
    FitUp,
    Instrument,
    Joint,
    Quality,
    Rule,
)
from qa.numeric.verdict import acceptance
from qa.rules import bays, gauges
from qa.rules import characteristics as rules
from qa.rules.characteristics import Found
from shop import roles
from shop.actions.locks import locked
from shop.ledger import Act, Refused, perform
from shop.models import Airframe, Person, Placement, Position

# What a revision says, as kept.
SAID = ("low_text", "high_text", "unit", "rule", "photo", "how", "source")


@dataclass(frozen=True)
class Required:
    """What a revision says: limits as typed, in `unit` (of a ratio percent)."""

    low: str = ""
    high: str = ""
    unit: str = ""
    rule: str = Rule.SIMPLE
    photo: bool = False
    how: str = ""
    source: str = ""


def define(
    *,
    by: Person,
    number: str,
    name: str,
    quality: str,
    bay: Position,
    required: Required,
    joint: Joint | None = None,
) -> Characteristic:
    """Plan a characteristic in a bay of every airframe of its type."""
    roles.require(by, "define characteristics")
    content = {"number": number, "name": name, "quality": quality, "bay": bay.pk}
    content |= {"joint": joint and joint.number, "required": asdict(required)}
    row = Characteristic(
        number=number.strip(), name=name.strip(), quality=quality, bay=bay, joint=joint
    )
    with perform("characteristic/1", by=by, said=content) as act:
        if quality not in Quality.values:
            raise Refused(_("Choose what it is."), field="quality")
        if joint and joint.type_id != bay.type_id:
            message = _("That joint is of another type of airframe.")
            raise Refused(message, field="joint")
        if joint and not bays.is_at(joint, bay):
            raise Refused(_("That joint is in another bay."), field="joint")
        row.full_clean()
        row.save()
        _revise(act, row, 1, required)
        act.result = {"characteristic": row.number}
    return row


def revise(
    *, by: Person, characteristic: Characteristic, required: Required, based_on: int
) -> CharacteristicRevision:
    """Release the next revision; what was found before is to be found again."""
    roles.require(by, "define characteristics")
    content = {"number": characteristic.number, "based_on": based_on}
    content |= {"required": asdict(required)}
    with perform("characteristic_revision/1", by=by, said=content) as act:
        row = locked(characteristic)
        newest = row.current.number
        if newest != based_on:
            message = _("Revision %(number)s was released meanwhile. Look at it first.")
            raise Refused(message % {"number": newest}, code="stale")
        before = row.current
        revision = _revise(act, row, newest + 1, required)
        if all(getattr(before, name) == getattr(revision, name) for name in SAID):
            raise Refused(_("Nothing was changed."), code="same")
        act.result = {"revision": revision.number}
    return revision


def _revise(act: Act, row: Characteristic, number: int, required: Required):
    quality, unit = row.quality, required.unit
    rules.require_unit(quality, unit)
    if required.rule not in Rule.values:
        raise Refused(_("Choose how it is judged."), field="rule")
    if required.rule == Rule.GUARDED and quality in rules.CERTAIN:
        raise Refused(_("This is counted or seen: it has no guard band."), field="rule")
    low = rules.limit_of(quality, required.low, unit, "low")
    high = rules.limit_of(quality, required.high, unit, "high")
    attribute = quality == Quality.ATTRIBUTE
    if attribute and (low, high) != (None, None):
        raise Refused(_("What is so or not has no limits."), field="low")
    if not attribute and low is None and high is None:
        raise Refused(_("State a limit: at least, at most, or both."), field="low")
    if low is not None and high is not None and low > high:
        raise Refused(_("The low limit is above the high limit."), field="high")
    revision = CharacteristicRevision(
        characteristic=row,
        number=number,
        low=low,
        high=high,
        low_text=required.low.strip(),
        high_text=required.high.strip(),
        unit=unit,
        rule=required.rule,
        photo=required.photo,
        how=required.how.strip(),
        source=required.source.strip(),
    )
    revision.full_clean(exclude=["entry", "characteristic"])
    act.record(revision)
    row.current = revision
    row.save(update_fields=["current"])
    return revision


def record(
    *,
    by: Person,
    characteristic: Characteristic,
    airframe: Airframe,
    found: Found,
    instrument: Instrument | None = None,
    note: str = "",
) -> CharacteristicResult:
    """Keep what was found on an airframe, judged by the newest revision; what was found
    before stays on record."""
    roles.require(by, "measure")
    content = {"characteristic": characteristic.number, "airframe": airframe.serial}
    content |= {"found": asdict(found), "note": note}
    content["instrument"] = instrument and instrument.code
    with perform("characteristic_result/1", by=by, said=content) as act:
        row = locked(characteristic)
        if row.bay.type_id != airframe.type_id:
            raise Refused(_("That is of another type of airframe."), field="airframe")
        if refused := gauges.refusal(instrument):
            raise Refused(refused, field="instrument")
        revision = row.current
        u_nm = instrument.u_nm if instrument else None
        outcome = rules.judged(row, revision, found, u_nm)
        if row.quality in rules.MEASURED:
            gauges.hold_to_range([outcome.exact], gauges.reach_of(instrument), "value")
        result = _result(row, airframe, instrument, found, outcome)
        result.note = note.strip()
        result.full_clean(exclude=["entry", "revision", "probability"])
        act.record(result)
        act.result = {"verdict": str(outcome.verdict)}
    return result


def _result(row, airframe, instrument, found: Found, judged) -> CharacteristicResult:
    attribute = row.quality == Quality.ATTRIBUTE
    revision = row.current
    there = Placement.objects.filter(
        airframe=airframe, position=row.bay_id, removed_at=None
    ).first()
    fit_up = None
    if row.joint_id:
        fit_ups = FitUp.objects.filter(joint=row.joint_id, airframe=airframe)
        fit_up = fit_ups.order_by("-number").first()
    return CharacteristicResult(
        revision=revision,
        airframe=airframe,
        part=there and there.part,
        fit_up=fit_up,
        instrument=instrument,
        value=found.value.strip(),
        under=found.under.strip(),
        unit=found.unit,
        u_text=found.u.strip(),
        u_under=found.u_under.strip(),
        exact=judged.exact,
        u=judged.u,
        low=revision.low,
        high=revision.high,
        guard=judged.guard,
        rule="" if attribute else revision.rule,
        method="" if attribute else acceptance.METHOD,
        verdict=judged.verdict,
        deviation=judged.deviation,
        probability=judged.probability,
    )
