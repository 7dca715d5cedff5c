"""Nonconformances come to be: of a check (of fit, of holes, of a characteristic), by
hand, of an inspection."""

import hashlib

from django.db.models import Q
from django.utils.translation import gettext as _

from qa.models import (
    TITLE_MOST,
    CharacteristicResult,
    Check,
    DefectKind,
    FitUp,
    HoleCheck,
    Nonconformance,
    NonconformanceKind,
    NonconformanceState,
    Source,
)
from qa.rules import decided, judging, station_names
from qa.wording import characteristics as characteristic_words
from qa.wording import holes as hole_words
from qa.wording.findings import span
from shop import roles
from shop.actions.numbers import next_number
from shop.ledger import Refused, perform
from shop.models import Airframe, Placement, Role
from shop.wording import states


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
            raise Refused(_("That finding is not there any more."), field="findings")
        findings = [findings[index] for index in chosen]
    envelope.setdefault("said", {"check": str(check.entry_id), "findings": chosen})
    with perform("raise/1", by=by, **envelope) as act:
        items = [raise_in(act, check, finding) for finding in findings]
        act.result = {
            "nonconformances": [{"id": item.pk, "label": item.label} for item in items]
        }
    return items


def not_raised(check: Check, findings: list[judging.Finding]) -> list[judging.Finding]:
    """Return those findings that have no number yet."""
    rows = Nonconformance.objects.filter(fit_check=check)
    have = set(rows.values_list("kind", "stations_key"))
    return [finding for finding in findings if (finding.kind, finding.key) not in have]


def raise_in(act, check: Check, finding: judging.Finding) -> Nonconformance:
    """Number one finding inside a running act."""
    fit_up = check.fit_up
    key = finding.key
    raised = Nonconformance.objects.filter(
        fit_check=check, kind=finding.kind, stations_key=key
    ).first()
    if raised:
        raise Refused(
            _("%(item)s was raised for this already.") % {"item": raised.label},
            code="done",
        )
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


def raise_holes(*, by, check: HoleCheck) -> Nonconformance:
    """Number what fails in a check of holes and nobody raised yet, as one item, where
    the serial sits or was fitted last."""
    roles.require(by, "raise nonconformances")
    pattern, unit = check.revision.pattern, check.revision.units
    with perform("raise_holes/1", by=by, said={"check": str(check.entry_id)}) as act:
        airframe = _where(check)
        number = next_number(f"nonconformance:{airframe.pk}")
        # Whoever raises here at the same moment waits for that number.
        rows = decided.holes_to_raise(check, decided.items_of_holes(check))
        if not rows:
            raise Refused(_("Nothing in it is left to be raised."), code="done")
        labels = [row.hole.label for row in rows]
        item = Nonconformance(
            airframe=airframe,
            number=number,
            kind=NonconformanceKind.OTHER,
            joint=pattern.joint,
            part=check.part,
            hole_check=check,
            holes=labels,
            stations_key=hashlib.sha256("\n".join(labels).encode()).hexdigest(),
            title=hole_words.title(pattern.number, labels)[:200],
            requirement=f"{pattern}, revision {check.revision.number}"[:200],
            found=hole_words.found(rows, unit)[:200],
            place=hole_words.place(check.part.serial, labels)[:200],
        )
        _record(act, item)
        act.result = {"nonconformance": item.pk, "label": item.label}
    return item


def _where(check: HoleCheck) -> Airframe:
    """The airframe on which its serial sits, else was fitted last."""
    part = check.part_id
    sits = Placement.objects.filter(part=part, removed_at=None).first()
    if sits:
        return sits.airframe
    fitted = FitUp.objects.filter(Q(part=part) | Q(surround_part=part))
    last = fitted.order_by("-entry__pk").first()
    if last is None:
        words = _(
            "%(part)s: it sits on no airframe: an item is of one. Put it in its place "
            "first."
        )
        raise Refused(words % {"part": check.part.serial})
    return last.airframe


def raise_result(*, by, result: CharacteristicResult) -> Nonconformance:
    """Number the newest result of a characteristic on its airframe that is not shown
    to conform."""
    roles.require(by, "raise nonconformances")
    planned = result.revision.characteristic
    with perform("raise_result/1", by=by, said={"result": result.pk}) as act:
        number = next_number(f"nonconformance:{result.airframe_id}")
        newest = decided.newest_result(planned, result.airframe)
        if newest != result or not decided.result_to_raise(planned, result):
            raise Refused(_("That is not left to be raised."), code="done")
        words = characteristic_words.result(planned.quality, result, result.unit)
        title = f"{planned.number} {planned.name}: {states.word(result.verdict)}"
        item = Nonconformance(
            airframe=result.airframe,
            number=number,
            kind=NonconformanceKind.OTHER,
            joint=planned.joint,
            part=result.part,
            result=result,
            title=title[:200],
            requirement=characteristic_words.limits(result.revision, planned.quality),
            found=words[:200],
            place=planned.bay.path[:200],
        )
        _record(act, item)
        act.result = {"nonconformance": item.pk, "label": item.label}
    return item


def keep(act, item: Nonconformance) -> Nonconformance:
    """Number an item inside a running act; it is with whoever raised it."""
    item.number = next_number(f"nonconformance:{item.airframe_id}")
    return _record(act, item)


def _record(act, item: Nonconformance) -> Nonconformance:
    item.full_clean(exclude=["entry"])
    act.record(item)
    NonconformanceState.objects.create(
        nonconformance=item, opened_at=act.now, last_entry_id=act.id, holder=act.by
    )
    return item


def title_of(text: str) -> str:
    """What somebody wrote as the title of an item: all of it, or as many whole words as
    there is room for; the item's note then has the rest."""
    if len(text) <= TITLE_MOST:
        return text
    return text[: TITLE_MOST - 2].rsplit(" ", 1)[0] + " …"


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
