"""Whether a re-check shows that what an item promised is done."""

from django.db.models import Q

from qa.models import (
    Check,
    CheckState,
    CurrentReading,
    Disposition,
    FitUp,
    Kind,
    Nonconformance,
    State,
    Verdict,
)
from qa.rules import authorship, decided, item_life, offering, remeasure
from shop.ledger import Refused

FIT_UP = ("entry", "fit_up__entry", "fit_up__joint", "fit_up__airframe")
FIT_UP += ("fit_up__part", "fit_up__surround_part")


def require_shown(
    item: Nonconformance, recheck: Check | None, disposition: str, note: str
) -> str:
    """Refuse a verification that nothing shows; what shows it beside the re-check, in
    words.

    What was measured is shown by measuring again: the same joint and serials, begun
    after the work, finished, proven, by others than who did the work (who verifies it
    may have measured: a shop of two can), and nothing changed since. What was seen is
    shown by words, or by a check as well; a hole, or another characteristic, by finding
    that again.
    """
    worked = disposition in (Disposition.REWORK, Disposition.REPAIR)
    if item.read_again and recheck:
        raise Refused("A fit check does not show that.", field="recheck")
    if item.read_again and worked:
        return decided.require_found_again(item, disposition)
    measured = worked and item.of_fit
    if recheck is None:
        if measured:
            raise Refused("Link the check that shows it is done.", field="recheck")
        if not note.strip():
            raise Refused("Say what was verified.", field="note")
        return ""
    recheck = Check.objects.select_related(*FIT_UP).get(pk=recheck.pk)
    _same(item, recheck)
    if not worked:
        authorship.require_proven(recheck, "recheck")
        return ""
    if recheck.entry.pk < item_life.last_worked(item):
        raise Refused(
            f"{recheck.label} was begun before the work was recorded: it shows what "
            "was there before. Measure again.",
            field="recheck",
        )
    _finished(recheck)
    _by_another(item, recheck)
    if disposition == Disposition.REWORK:
        _not_worse_since(item, recheck)
    if missing := not_shown(item, recheck, disposition):
        places = ", ".join(" ".join(filter(None, place)) for place in missing)
        raise Refused(
            "Rework promises full conformity: it is verified when every station of the "
            "re-check conforms, gap and flush, but for what another item covers; not "
            f"shown at {places}. Work that and measure again, or raise an item of it."
            if disposition == Disposition.REWORK
            else f"The re-check measured nothing at {places}.",
            field="recheck",
        )
    return ""


def _same(item: Nonconformance, recheck: Check) -> None:
    fit_up = recheck.fit_up
    if item.joint_id and (fit_up.joint_id, fit_up.airframe_id) != (
        item.joint_id,
        item.airframe_id,
    ):
        raise Refused("That check is of another joint or airframe.", field="recheck")
    _same_serials(item, fit_up)
    if item.fit_check_id and recheck.number <= item.fit_check.number:
        raise Refused("The re-check must come after the finding.", field="recheck")
    if recheck.entry.pk <= item.entry.pk:
        raise Refused("The re-check must come after the finding.", field="recheck")


def _finished(recheck: Check) -> None:
    state = CheckState.objects.get(fit_check=recheck)
    if state.state != CheckState.State.FINISHED:
        raise Refused("Finish the re-check first.", field="recheck")
    if state.late:
        raise Refused(
            "Readings of the re-check came in after it was finished: decide on them "
            "first.",
            field="recheck",
        )
    authorship.require_proven(recheck, "recheck")
    if changed := remeasure.since([recheck]).get(recheck.pk):
        raise Refused(
            f"This was changed since the re-check: {changed.why}. Measure again.",
            field="recheck",
        )


def _by_another(item: Nonconformance, recheck: Check) -> None:
    standing = recheck.current.select_related("reading__entry__by")
    if own := item_life.by_doers(item, [current.reading for current in standing]):
        raise Refused(
            f"{own} did the work and measured the re-check: somebody else measures it "
            "again.",
            field="recheck",
        )


def _not_worse_since(item: Nonconformance, recheck: Check) -> None:
    """Refuse where a later check of the same says otherwise at a place of the item."""
    fit_up = recheck.fit_up
    rows = CurrentReading.objects.filter(
        reading__value_nm__isnull=False,
        station__label__in=item.stations,
        kind__in=_kinds(item),
        fit_check__entry__pk__gt=recheck.entry.pk,
        fit_check__state__state=CheckState.State.FINISHED,
        fit_check__state__void=False,
        fit_check__fit_up__joint=fit_up.joint_id,
        fit_check__fit_up__airframe=fit_up.airframe_id,
        fit_check__fit_up__part=fit_up.part_id,
    ).select_related("reading", "station", "fit_check")
    newest = {
        (row.station.label, row.kind): row
        for row in rows.order_by("fit_check__entry__pk")
    }
    for (label, kind), row in newest.items():
        if row.clash or row.reading.verdict not in (Verdict.CONFORMS, ""):
            raise Refused(
                f"{row.fit_check.label} is newer and does not conform at {label} "
                f"{kind}: work that and measure again.",
                field="recheck",
            )


def _kinds(item: Nonconformance) -> list[str]:
    """What a re-check shows an item by: gap or flush, or both."""
    return [offering.kind_of(item)[0]] if item.of_fit else Kind.values


def _same_serials(item: Nonconformance, fit_up: FitUp) -> None:
    """What was found on one serial is not put right on another, nor against another
    surround; a serial is on the side where it was."""
    fitted = item.fit_check.fit_up if item.fit_check_id else None
    if fitted and fit_up.part_id != fitted.part_id:
        raise Refused(
            f"That check is of {fit_up.part.serial}; this was found on "
            f"{fitted.part.serial}.",
            field="recheck",
        )
    if fitted and fitted.surround_part_id not in (None, fit_up.surround_part_id):
        raise Refused(
            f"This was found against {fitted.surround_part.serial}, and that check was "
            f"not.",
            field="recheck",
        )
    if not fitted and item.part_id not in (
        None,
        fit_up.part_id,
        fit_up.surround_part_id,
    ):
        raise Refused(f"That check is not of {item.part.serial}.", field="recheck")


def not_shown(
    item: Nonconformance, recheck: Check, disposition: str
) -> list[tuple[str, str]]:
    """The (station, gap or flush or "") at which a re-check does not show that an item
    is done: of the item where nothing was measured, and of the whole re-check, for
    rework, where something does not conform that no other item covers."""
    rows = CurrentReading.objects.filter(
        fit_check=recheck, reading__value_nm__isnull=False
    )
    rows = list(rows.select_related("reading", "station").order_by("station__order"))
    own = _kinds(item)
    measured = {row.station.label for row in rows if row.kind in own}
    if not (item.stations or measured):
        return [("any station", "")]
    word = own[0] if item.of_fit else ""
    missing = [(label, word) for label in item.stations if label not in measured]
    if disposition != Disposition.REWORK:
        return missing
    others = _others(item, recheck.fit_up)
    for row in rows:
        label, reading = row.station.label, row.reading
        mine = label in item.stations and row.kind in own
        without = not (reading.verdict or (mine and item.of_fit))
        if not row.clash and (reading.verdict == Verdict.CONFORMS or without):
            continue
        if mine or not _covered(row, others, recheck):
            missing.append((label, row.kind))
    return missing


def _others(item: Nonconformance, fit_up: FitUp) -> list[Nonconformance]:
    """The other items of the same joint, airframe and serials, and those of the joint
    that name no serial."""
    rows = Nonconformance.objects.filter(
        Q(part=None) | Q(part__in=[fit_up.part_id, fit_up.surround_part_id]),
        joint=fit_up.joint_id,
        airframe=fit_up.airframe_id,
    )
    related = ("standing__recheck", "fit_check__fit_up")
    return list(rows.exclude(pk=item.pk).select_related(*related))


def _covered(row: CurrentReading, others: list[Nonconformance], recheck: Check) -> bool:
    """Whether another item that is not done yet, or was put right since the re-check,
    names what does not conform, or it was decided to stay so."""
    label, reading = row.station.label, row.reading
    for other in others:
        named = not other.of_fit or offering.kind_of(other)[0] == row.kind
        standing = other.standing
        waits = standing.state not in (State.VERIFIED, State.CLOSED)
        later = standing.recheck and standing.recheck.number > recheck.number
        if label in other.stations and named and (waits or later):
            return True
    left = offering.left_by(reading, row.kind, label, recheck.fit_up, others)
    return left is not None and not row.clash
