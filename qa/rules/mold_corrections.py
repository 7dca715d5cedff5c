"""Corrections of a mold on record: what is frozen of one, and what came after it."""

from dataclasses import replace

import numpy as np
from django.db.models import Max

from qa.models import CorrectionEnding, Kind, ToolCorrection
from qa.numeric.tool.characteristics import characteristics
from qa.numeric.tool.estimate import Advice, ToolValue
from qa.numeric.tool.least_squares import Why
from qa.numeric.tool.opening_effects import OpeningTold
from qa.numeric.tool.openings import OpeningValue
from qa.numeric.verdict.acceptance import nearest_nm
from qa.rules import mold_assessment, mold_kin
from qa.rules.history import Seam
from qa.rules.mold_assessment import METHOD, MoldAssessment
from qa.rules.mold_fits import FirstFit, MoldFits, places_kept
from qa.rules.mold_kin import Kin
from qa.rules.station_places import places_of
from shop.ledger.canonical import frozen
from shop.models import Pull
from shop.numeric.units import MILLI, PPM, to_mm, to_nm

# 1 had no openings, 2 nothing of other molds, 3 nothing of a plug that was corrected,
# 4 nothing of what one gauge may be off alike, 5 not all checks nor the plug's key,
# 6 not where a gauge read most
FORM = "correction_body/7"
LENGTHS = (
    "tool_mm",
    "standard_error_mm",
    "low_mm",
    "high_mm",
    "correction_mm",
    "after_mm",
    "after_half_mm",
)
OPENING_LENGTHS = ("opening_mm", "standard_error_mm", "low_mm", "high_mm")
SAME_DIRECTION = 0.9998  # cosine, about a degree
NOTHING_TO_DO = (Advice.LEAVE, Advice.CANNOT_TELL)


def draft(assessment: MoldAssessment, kin: Kin) -> ToolCorrection | None:
    """The record that can be taken, not saved; None where nothing is to be done."""
    if all(value.advice in NOTHING_TO_DO for value in assessment.report.values):
        return None
    return ToolCorrection(
        tool=assessment.fits.tool,
        design=assessment.fits.design,
        revision=assessment.fits.seam.revision,
        last_pull=max(fit.pull.number for fit in assessment.used),
        method=METHOD,
        **frozen(_body(assessment) | {"kin": mold_kin.kept(kin)}),
    )


def _body(assessment: MoldAssessment) -> dict:
    report, choice = assessment.report, assessment.choice
    labels = [station.label for station in assessment.fits.seam.stations]
    return {
        "form": FORM,
        "method": METHOD,
        "inputs": [_input(fit, labels) for fit in assessment.used],
        "asked": {
            "first_pull": choice.first_pull,
            "opening": choice.opening,
            "sd_nm": choice.sd_nm,
            "worth_nm": choice.worth_nm,
            "openings": str(assessment.openings),
        },
        "scatter": {
            kind: {"sd_nm": _nm(sd), "degrees_e3": round(degrees * MILLI)}
            for kind, (sd, degrees) in report.scatter.seen.items()
        },
        "share_ppm": {
            name: round(getattr(report.share, name) * PPM)
            for name in ("now", "after", "whole_now", "whole_after")
        },
        # Who read most: [kind, code, nm that it may be off, by what, where if not all].
        "gauges": [gauge.kept(labels) for gauge in assessment.gauges],
        "stations": [
            {"label": label, Kind.GAP: _kept(gap), Kind.FLUSH: _kept(flush)}
            for label, gap, flush in zip(labels, report.gap, report.flush, strict=True)
        ],
        "openings": [
            {
                "opening": station.name,
                Kind.GAP: [_kept_opening(value) for value in station.gap],
                Kind.FLUSH: [_kept_opening(value) for value in station.flush],
            }
            for station in report.apart.each
        ],
    }


def _input(fit: FirstFit, labels: list[str]) -> dict:
    return {
        "part": fit.part.serial,
        "pull": fit.pull.number,
        "opening": fit.opening,
        "check": str(fit.check.entry_id),
        "checks": [str(check.entry_id) for check in fit.checks],
        "fitup": str(fit.fit_up.entry_id),
        "read": [[labels[row], kind, nm] for (row, kind), nm in sorted(fit.nm.items())],
        "cut": [[labels[row], nm] for row, nm in sorted(fit.cut_nm.items())],
    }


def _kept(value: ToolValue) -> dict:
    numbers = _numbers(value, LENGTHS) | {"zero_nm": _nm(value.zero_mm)}
    return {"advice": str(value.advice), "why": value.why and str(value.why)} | numbers


def _kept_opening(value: OpeningValue) -> dict:
    return {"why": value.why and str(value.why)} | _numbers(value, OPENING_LENGTHS)


def _numbers(value, names: tuple[str, ...]) -> dict[str, int | None]:
    return {name[:-3] + "_nm": _nm(getattr(value, name)) for name in names}


def _nm(mm: float | None) -> int | None:
    return None if mm is None else to_nm(mm)


def values_of(row: ToolCorrection) -> dict[str, list[ToolValue]]:
    """What was told of every station, by kind, from the record."""
    return {
        kind: [_value(station[kind]) for station in row.content["stations"]]
        for kind in Kind.values
    }


def _value(kept: dict) -> ToolValue:
    return ToolValue(
        advice=Advice(kept["advice"]),
        why=kept["why"] and Why(kept["why"]),
        zero_mm=to_mm(kept.get("zero_nm", 0)),
        **_lengths(kept, LENGTHS),
    )


def _lengths(kept: dict, names: tuple[str, ...]) -> dict[str, float | None]:
    numbers = {name: kept[name[:-3] + "_nm"] for name in names}
    return {name: None if nm is None else to_mm(nm) for name, nm in numbers.items()}


def openings_of(row: ToolCorrection) -> tuple[OpeningTold, ...]:
    """What was told of every opening, from the record."""
    return tuple(
        OpeningTold(
            opening["opening"],
            *(tuple(map(_opening_value, opening[kind])) for kind in Kind.values),
        )
        for opening in row.content.get("openings", ())
    )


def _opening_value(kept: dict) -> OpeningValue:
    why = kept["why"] and Why(kept["why"])
    return OpeningValue(why=why, **_lengths(kept, OPENING_LENGTHS))


def labels_of(row: ToolCorrection) -> list[str]:
    return [station["label"] for station in row.content["stations"]]


def last_before(row: ToolCorrection) -> int:
    """The last pull that a correction cannot have been done before: one by which it was
    told, or one that was started before it was decided."""
    before = Pull.objects.filter(
        tool=row.tool_id, started_at__lte=row.entry.received_at
    )
    return max(row.last_pull, before.aggregate(Max("number"))["number__max"] or 0)


def first_pull_after(fits: MoldFits, rows: list[ToolCorrection]) -> int | None:
    """The first pull since the mold was last corrected at this joint, None where it
    never was. rows: its corrections with their ends."""
    done = [
        row.end.last_pull
        for row in rows
        if getattr(row, "end", None)
        and row.end.how == CorrectionEnding.DONE
        and row.revision.joint_id == fits.joint.pk
    ]
    return max(done) + 1 if done else None


def came_after(row: ToolCorrection, fits: MoldFits) -> list[FirstFit]:
    """The first fits of parts that were pulled since it was done."""
    end = getattr(row, "end", None)
    if end is None or end.how != CorrectionEnding.DONE:
        return []
    return [fit for fit in fits.fits if fit.pull.number > end.last_pull]


def rows_kept(seam: Seam, fits: MoldFits) -> dict[int, int]:
    """Rows of the seam that a record was taken along, by rows of the joint as it is
    now: stations that kept their place and their directions."""
    if fits.seam.revision.pk == seam.revision.pk:
        return {row: row for row in range(len(seam.stations))}
    kept = {now: seam.rows[at] for at, now in places_kept(seam, fits.seam).items()}
    _, *ours = places_of(seam.stations)
    _, *theirs = places_of(fits.seam.stations)
    return {
        now: row
        for now, row in kept.items()
        if all(
            float(own[row] @ other[now]) >= SAME_DIRECTION
            for own, other in zip(ours, theirs, strict=True)
        )
    }


def deviations_of(row: ToolCorrection, seam: Seam, fits: MoldFits, fit: FirstFit):
    """(gaps, flushnesses) of a part from the target that the record was taken by, mm,
    at its stations; None where nothing was told or read, or the station has changed.
    seam: the stations of the record's own revision."""
    values = values_of(row)
    expected = [value.after_mm for kind in Kind.values for value in values[kind]]
    geometry = mold_assessment.geometry_of(row.revision, seam)
    kept = rows_kept(seam, fits)
    nm = {(kept[now], kind): nm for (now, kind), nm in fit.nm.items() if now in kept}
    deviations = mold_assessment.came(geometry, expected, replace(fit, nm=nm))
    count = len(geometry.stations)
    return deviations[:count], deviations[count:]


def conforming(
    row: ToolCorrection, seam: Seam, came: dict[str, list[float | None]]
) -> int:
    """How many deviations from target, mm by kind, lie within the limits that the
    record was taken by: in whole nanometers."""
    asked = characteristics(mold_assessment.geometry_of(row.revision, seam), ())
    off = [value for kind in Kind.values for value in came[kind]]
    count = 0
    for at, value in enumerate(off):
        if value is None:
            continue
        nm = nearest_nm(asked.target[at] + value)
        low, high = asked.low[at], asked.high[at]
        above = np.isinf(low) or nm >= nearest_nm(low)
        count += bool(above and (np.isinf(high) or nm <= nearest_nm(high)))
    return count
