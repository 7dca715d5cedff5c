"""The instruments of a pack: until when they were calibrated, and how it went."""

from dataclasses import dataclass
from itertools import chain

from django.utils import timezone

from qa.models import Calibration, HoleCheck, Instrument
from qa.queries.packs.scope import Scope
from qa.rules import gauges
from qa.wording import lengths


@dataclass(frozen=True)
class InstrumentLine:
    """One instrument: the checks it was used in, and its newest calibration."""

    code: str
    name: str
    u: str
    due: str
    calibrated: str
    laboratory: str
    certificate: str
    result: str
    used: str
    doubt: str


@dataclass(frozen=True)
class Instruments:
    key = "instruments"
    lines: tuple[InstrumentLine, ...]
    unstated: tuple[str, ...]

    @property
    def data(self) -> list:
        return [vars(line) for line in self.lines]

    @property
    def told(self) -> dict[str, str]:
        return {
            f"instrument {line.code}": ", ".join(
                filter(None, (line.calibrated, line.result, line.due, line.doubt))
            )
            for line in self.lines
        }


def section(scope: Scope) -> Instruments:
    used: dict[int, list] = {}
    for check in scope.checks:
        used.setdefault(check.instrument_id, []).append(check)
    holes = HoleCheck.objects.filter(part__in=scope.parts, instrument__isnull=False)
    for check in holes.order_by("number"):
        used.setdefault(check.instrument_id, []).append(check)
    seconds = [one for one, _doubt in chain.from_iterable(scope.seconds.values())]
    late = gauges.overdue_when_used(seconds)
    for second in seconds:
        second.overdue = second.pk in late
        used.setdefault(second.instrument_id, []).append(second)
    unstated = tuple(one.label for one in used.pop(None, []))
    rows = Instrument.objects.filter(pk__in=used).order_by("code")
    calibrations: dict[int, list[Calibration]] = {}
    for calibration in Calibration.objects.filter(instrument__in=used):
        calibrations.setdefault(calibration.instrument_id, []).append(calibration)
    return Instruments(
        tuple(_line(x, used[x.pk], calibrations.get(x.pk, []), scope) for x in rows),
        unstated,
    )


def _line(gauge: Instrument, checks, done: list[Calibration], scope) -> InstrumentLine:
    last = done[0] if done else None  # the newest first
    places = 3 if scope.unit == "mm" else 5
    late = [x for x in checks if _overdue(x)]
    doubt = [f"overdue when {x.label} came in" for x in late]
    off = [one for _good, one in gauges.spans_off(done)]
    if off:
        doubt.append(f"found off on {off[-1].done_on}: what it read before is in doubt")
    return InstrumentLine(
        code=gauge.code,
        name=gauge.name,
        u=lengths.length(gauge.u_nm, scope.unit, places) if gauge.u_nm else "not known",
        due=gauge.due.isoformat() if gauge.due else "not stated",
        calibrated=last.done_on.isoformat() if last else "not on record",
        laboratory=last.laboratory if last else "",
        certificate=last.certificate if last else "",
        result=str(last.get_result_display()) if last else "",
        used=", ".join(check.label for check in checks),
        doubt="; ".join(doubt),
    )


def _overdue(check) -> bool:
    """Whether its calibration was due before it was measured."""
    if getattr(check, "overdue", False):
        return True
    due = getattr(check, "calibration_due", None)
    return bool(due and due < timezone.localtime(check.entry.received_at).date())
