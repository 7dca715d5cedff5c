"""Gauges that were found off, lost or damaged and read what a mold is told by."""

from collections.abc import Iterable

from qa.models import Calibration, Check, CurrentReading, GaugeStanding, ToolCorrection
from qa.rules import mold_kin
from qa.rules.gauge_doubts import found_off, off_words
from qa.rules.mold_fits import FirstFit
from qa.rules.mold_kin import Kin, Loaded
from qa.rules.mold_told import Told
from qa.rules.over_parts import PartRead
from qa.wording import mold_gauges

Off = dict[int, Calibration | GaugeStanding]


def off_of(fits: Iterable[FirstFit]) -> Off:
    """What puts their checks in doubt, by check; three statements at most."""
    return found_off(check for fit in fits for check in fit.checks)


def of_fits(off: Off, told: Told, kin: Kin, loaded: Loaded) -> list[str]:
    """Of what a mold is told by: its own fits, and those of others that count."""
    by = {entry for one in kin.each for entry in one.by}
    used = [
        *told.used,
        *(f for x in loaded.values() for f in x.fits if str(f.fit_up.entry_id) in by),
    ]
    return _sentences(
        off, [(check, fit.part.serial) for fit in used for check in fit.checks]
    )


def of_corrections(corrections: list[ToolCorrection]) -> dict[int, list[str]]:
    """As it is now, of what each record was told by; four statements at most."""
    fit_ups = {row.pk: _fit_ups(row) for row in corrections}
    of = {key for keys in fit_ups.values() for key in keys}
    read = CurrentReading.objects.filter(
        fit_check__fit_up__entry__in=of, reading__value_nm__isnull=False
    )
    rows = Check.objects.filter(
        pk__in=read.order_by().values("fit_check"), state__void=False
    )
    checks = list(rows.select_related("entry", "fit_up__part").order_by("pk"))
    off = found_off(checks)
    return {
        key: _sentences(
            off,
            [
                (check, check.fit_up.part.serial)
                for check in checks
                if str(check.fit_up.entry_id) in own
            ],
        )
        for key, own in fit_ups.items()
    }


def of_reads(reads: Iterable[PartRead]) -> list[str]:
    """Of parts over which a joint is told; three statements at most."""
    read = [(check, one.part.serial) for one in reads for check in one.checks]
    return _sentences(found_off(check for check, _serial in read), read)


def _fit_ups(row: ToolCorrection) -> set[str]:
    kin = mold_kin.from_record(row.content)
    others = {entry for one in kin.each for entry in one.by} if kin else set()
    return {fit["fitup"] for fit in row.content["inputs"]} | others


def _sentences(off: Off, read: Iterable[tuple[Check, str]]) -> list[str]:
    """One for each reason, with the parts that it concerns."""
    parts: dict[str, dict[str, None]] = {}
    for check, serial in read:
        if why := off.get(check.pk):
            parts.setdefault(off_words(why), {})[serial] = None
    return [mold_gauges.doubt(why, list(own)) for why, own in parts.items()]
