"""Whether a re-check shows that what an item promised is done."""

from qa.models import (
    Check,
    CheckState,
    CurrentReading,
    Disposition,
    FitUp,
    Nonconformance,
    Verdict,
)
from qa.rules import authorship, decided, remeasure
from shop.ledger import Refused

FIT_UP = ("entry", "fit_up__entry", "fit_up__joint", "fit_up__airframe")
FIT_UP += ("fit_up__part", "fit_up__surround_part")


def require_shown(
    by, item: Nonconformance, recheck: Check | None, disposition: str, note: str
) -> str:
    """Refuse a verification that nothing shows; what shows it beside the re-check, in
    words.

    What was measured is shown by measuring again: the same joint and serials, finished,
    proven, by somebody else, and nothing changed since. What was seen is shown by
    words, or by a check as well; a hole, or another characteristic, by finding that
    again.
    """
    worked = disposition in (Disposition.REWORK, Disposition.REPAIR)
    if item.read_again and recheck:
        raise Refused("A fit check does not show that.", field="recheck")
    if item.read_again and worked:
        return decided.require_found_again(by, item, disposition)
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
    _finished(by, recheck)
    if missing := not_shown(item, recheck, disposition):
        raise Refused(
            "Rework promises full conformity: it is verified when every station "
            f"conforms; not shown at {', '.join(missing)}."
            if disposition == Disposition.REWORK
            else f"The re-check measured nothing at {', '.join(missing)}.",
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


def _finished(by, recheck: Check) -> None:
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
    if recheck.readings.filter(entry__by=by).exists():
        raise Refused(
            "You measured the re-check: somebody else verifies the item.",
            field="recheck",
        )
    if changed := remeasure.since([recheck]).get(recheck.pk):
        raise Refused(
            f"This was changed since the re-check: {changed.why}. Measure again.",
            field="recheck",
        )


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


def not_shown(item: Nonconformance, recheck: Check, disposition: str) -> list[str]:
    """The stations of an item at which a re-check does not show that it is done; of an
    item without any, those of the re-check that do not conform."""
    rows = CurrentReading.objects.filter(fit_check=recheck).select_related(
        "reading", "station"
    )
    kinds = ("gap", "flush")
    if item.of_fit:
        kinds = ("gap" if item.kind.startswith("gap") else "flush",)
    good, bad, measured = set(), [], False
    for current in rows.order_by("station__order", "kind"):
        if current.kind not in kinds or current.reading.value_nm is None:
            continue
        measured = True
        conforms = current.reading.verdict == Verdict.CONFORMS and not current.clash
        without = not (item.of_fit or current.reading.verdict)
        if disposition != Disposition.REWORK or conforms or without:
            good.add(current.station.label)
        else:
            bad.append(current.station.label)
    if not item.stations:
        return list(dict.fromkeys(bad)) if measured else ["any station"]
    return [label for label in item.stations if label not in good or label in bad]
