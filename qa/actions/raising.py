"""Nonconformances come to be: of a check, by hand, of an inspection."""

from qa.models import (
    Check,
    DefectKind,
    Nonconformance,
    NonconformanceKind,
    NonconformanceState,
    Source,
)
from qa.rules import judging, station_names
from qa.wording.findings import span
from shop import roles
from shop.actions.numbers import next_number
from shop.ledger import Refused, perform
from shop.models import Role


def raise_findings(
    *, by, check: Check, chosen: list[int] | None = None, **envelope
) -> list[Nonconformance]:
    """Number the findings of a check: those at the chosen places, else all that nobody
    raised yet. Refused, by its number, for one that was."""
    roles.require(by, "raise nonconformances")
    findings = judging.findings(check)
    if chosen is None:
        # With nothing left the first that was raised is named below.
        findings = not_raised(check, findings) or findings[:1]
    else:
        if any(not 0 <= index < len(findings) for index in chosen):
            raise Refused("That finding is not there any more.", field="findings")
        findings = [findings[index] for index in chosen]
    envelope.setdefault("said", {"check": str(check.entry_id), "findings": chosen})
    with perform("raise/1", by=by, **envelope) as act:
        items = [raise_in(act, check, finding) for finding in findings]
        act.result = {
            "nonconformances": [{"id": item.pk, "label": item.label} for item in items]
        }
    return items


def not_raised(check: Check, found: list[judging.Finding]) -> list[judging.Finding]:
    """Return those findings that have no number yet."""
    rows = Nonconformance.objects.filter(fit_check=check)
    have = set(rows.values_list("kind", "stations_key"))
    return [one for one in found if (one.kind, one.key) not in have]


def raise_in(act, check: Check, finding: judging.Finding) -> Nonconformance:
    """Number one finding inside a running act."""
    fit_up = check.fit_up
    key = finding.key
    raised = Nonconformance.objects.filter(
        fit_check=check, kind=finding.kind, stations_key=key
    ).first()
    if raised:
        raise Refused(f"{raised.label} was raised for this already.", code="done")
    item = Nonconformance(
        airframe_id=fit_up.airframe_id,
        kind=finding.kind,
        joint_id=fit_up.joint_id,
        fit_check=check,
        part_id=fit_up.part_id,
        title=finding.title(fit_up.revision.units),
        requirement=finding.requirement,
        found=f"{finding.worst_value} at station {finding.worst_station}",
        place=f"{fit_up.joint.name}, {span(finding.stations)}",
        stations=list(finding.stations),
        stations_key=key,
        readings=list(finding.readings),
        worst_station=finding.worst_station,
        worst_nm=finding.worst_nm,
    )
    return keep(act, item)


def keep(act, item: Nonconformance) -> Nonconformance:
    """Number an item inside a running act; it is with whoever raised it."""
    item.number = next_number(f"nonconformance:{item.airframe_id}")
    item.full_clean(exclude=["entry"])
    act.record(item)
    NonconformanceState.objects.create(
        nonconformance=item, opened_at=act.now, last_entry_id=act.id, holder=act.by
    )
    return item


def raise_by_hand(
    *,
    by,
    airframe,
    title: str,
    joint=None,
    part=None,
    defect: DefectKind | None = None,
    stations: str = "",
    requirement="",
    found="",
    place="",
    note="",
    **envelope,
) -> Nonconformance:
    """Number something that was seen, not measured: at stations of a joint, or at a
    place in words."""
    roles.require(by, "raise nonconformances")
    inspects = by.role == Role.INSPECTOR
    item = Nonconformance(
        airframe=airframe,
        kind=NonconformanceKind.OTHER,
        source=Source.INSPECTION if inspects else Source.HAND,
        defect=defect,
        joint=joint,
        part=part,
        title=title,
        requirement=requirement,
        found=found,
        place=place,
        stations=station_names.named(joint, stations),
        note=note,
    )
    envelope.setdefault("said", {"airframe": airframe.pk, "title": title, "note": note})
    with perform("nonconformance/1", by=by, **envelope) as act:
        keep(act, item)
        act.result = {"nonconformance": item.pk, "label": item.label}
    return item
