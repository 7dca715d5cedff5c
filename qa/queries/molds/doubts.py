"""Gauges in doubt that read what a mold is told by: found off, lost or damaged, or used
when their calibration was due."""

from collections.abc import Iterable

from qa.models import CharacteristicResult, Check, ToolCorrection
from qa.rules import mold_kin
from qa.rules.gauge_doubts import found_off, off_words
from qa.rules.gauge_due import standing_overdue
from qa.rules.mold_assessment import MoldAssessment
from qa.rules.mold_fits import FirstFit
from qa.rules.mold_kin import Kin, Loaded
from qa.rules.over_parts import PartRead
from qa.wording import mold_gauges

# By check (what puts it in doubt, what to do about it), in words.
Doubts = dict[int, list[tuple[str, str]]]


def doubts_of(checks: Iterable[Check | CharacteristicResult]) -> Doubts:
    """All of one kind, with their entry and instrument; four statements where none is
    in doubt."""
    checks = list(checks)
    off, late = found_off(checks), standing_overdue(checks)
    doubts: Doubts = {}
    for check in checks:
        own = []
        if check.pk in off:
            own.append((off_words(off[check.pk]), mold_gauges.AGAIN))
        if check.pk in late:
            used, code = late[check.pk], check.instrument.code
            why = mold_gauges.overdue(code, used.due, in_date=used.in_date)
            own.append((why, mold_gauges.AGAIN if used.off else mold_gauges.GOOD))
        if own:
            doubts[check.pk] = own
    return doubts


def of_each(fits: Iterable[FirstFit]) -> Doubts:
    """What puts the checks of first fits in doubt."""
    return doubts_of(check for fit in fits for check in fit.checks)


def of_fits(
    doubts: Doubts, assessment: MoldAssessment, kin: Kin, loaded: Loaded
) -> list[str]:
    """Of what a mold is told by: its own fits, and those of others that count."""
    by = {entry for mold in kin.each for entry in mold.by}
    used = [
        *assessment.used,
        *(f for x in loaded.values() for f in x.fits if str(f.fit_up.entry_id) in by),
    ]
    return _sentences(
        doubts, [(check, fit.part.serial) for fit in used for check in fit.checks]
    )


def of_parts(doubts: Doubts, fits: Iterable[FirstFit]) -> list[str]:
    """Of some parts, of what `of_each` found."""
    return _sentences(
        doubts, [(check, fit.part.serial) for fit in fits for check in fit.checks]
    )


def of_check(check: Check) -> list[str]:
    """Of one check, with its entry, instrument and part."""
    return _sentences(doubts_of([check]), [(check, check.fit_up.part.serial)])


def of_corrections(corrections: list[ToolCorrection]) -> dict[int, list[str]]:
    """As it is now, of the checks by which each record was told; a constant number of
    statements."""
    of = {key for row in corrections for key in _kept(row, "fitup", "by")}
    rows = Check.objects.filter(fit_up__entry__in=of).select_related(
        "entry", "instrument", "fit_up__part", "state"
    )
    checks = list(rows.order_by("pk"))
    used = {row.pk: _used(row, checks) for row in corrections}
    doubts = doubts_of({c.pk: c for own in used.values() for c in own}.values())
    return {
        key: _sentences(doubts, [(check, check.fit_up.part.serial) for check in own])
        for key, own in used.items()
    }


def of_reads(
    reads: Iterable[PartRead], of: str = "", row: int | None = None
) -> list[str]:
    """Of parts over which a joint is told, or what made their points on one chart."""
    read = [(check, fit.part.serial) for fit in reads for check in fit.made_by(of, row)]
    return _sentences(doubts_of(check for check, _serial in read), read)


def of_results(results: Iterable[CharacteristicResult]) -> list[str]:
    """Of results of a characteristic over parts."""
    results = list(results)
    read = [(result, str(result.part or result.airframe)) for result in results]
    return _sentences(doubts_of(results), read)


def _kept(row: ToolCorrection, own: str, kin: str) -> set[str]:
    """What a record keeps under these names of its own fits and of those of kin."""
    kin_kept = mold_kin.from_record(row.content)
    others = (
        {key for mold in kin_kept.each for key in getattr(mold, kin)}
        if kin_kept
        else ()
    )
    mine = (fit.get(own, ()) for fit in row.content["inputs"])
    each = ([entry] if isinstance(entry, str) else entry for entry in mine)
    return {key for keys in each for key in keys} | set(others)


def _used(row: ToolCorrection, checks: list[Check]) -> list[Check]:
    """The checks by which a record was told; of one that does not keep them those of
    its fit-ups that were begun before it."""
    keys = _kept(row, "checks", "checks")
    if keys:
        return [check for check in checks if str(check.entry_id) in keys]
    fit_ups = _kept(row, "fitup", "by")
    return [
        check
        for check in checks
        if str(check.fit_up.entry_id) in fit_ups
        and check.entry.pk < row.entry.pk
        and not check.state.void
    ]


def _sentences(doubts: Doubts, read: Iterable[tuple]) -> list[str]:
    """One for each reason, with the parts that it concerns. read: (check or result, its
    part) of each."""
    parts: dict[tuple[str, str], dict[str, None]] = {}
    for check, serial in read:
        for doubt in doubts.get(check.pk, ()):
            parts.setdefault(doubt, {})[serial] = None
    return [mold_gauges.doubt(*doubt, list(own)) for doubt, own in parts.items()]
