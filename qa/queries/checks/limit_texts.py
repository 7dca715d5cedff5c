"""The limits of a check for paper: once, as they are judged, and why."""

from collections.abc import Iterable, Sequence
from itertools import groupby

from qa.models import Check, Kind, Station, TrimCut
from qa.rules import requirements
from qa.rules.station_places import along_seam
from qa.wording import lengths
from qa.wording.findings import span
from shop.numeric.units import format_length, to_mm

BY_FINISH = {
    Kind.GAP: "for the finish still to come on both edges",
    Kind.FLUSH: "for the finish still to come on the two faces",
}


def limits_told(check: Check, stations: Sequence[Station], unit: str) -> list[str]:
    """Return a line for each kind and pair of limits, with the stations they hold at:
    "gap 1.00 to 2.50 mm + 0.24 mm for the finish still to come ..."."""
    lines = []
    for kind in Kind.values:
        groups: dict[str, list[str]] = {}
        for station in stations:
            station.revision = check.fit_up.revision
            limits = _limits(check, station, kind, unit)
            if limits:
                groups.setdefault(limits, []).append(station.label)
        for limits, labels in groups.items():
            everywhere = len(labels) == len(stations)
            where = "everywhere" if everywhere else f"at {span(tuple(labels))}"
            lines.append(f"{Kind(kind).label.capitalize()} {where}: {limits}.")
    return lines


def _limits(check: Check, station: Station, kind: str, unit: str) -> str:
    plain = requirements.requirement(station, kind, "finished")
    judged = requirements.requirement(station, kind, check.finish)
    if judged.empty:
        return ""
    sentence = lengths.limits(*plain.limits, unit)
    shift = next(
        (b - a for a, b in zip(plain.limits, judged.limits, strict=True) if b), 0
    )
    if shift:
        sign = "+" if shift > 0 else "−"
        sentence += f" {sign} {lengths.length(abs(shift), unit)} {BY_FINISH[kind]}, "
        sentence += f"so {lengths.limits(*judged.limits, unit)}"
    revision = check.fit_up.revision
    accepted = requirements.acceptance(
        judged, check.u_nm, revision.rule, revision.edition
    )
    accepted_text = lengths.accepted(judged.limits, accepted.inside, unit)
    if accepted_text:
        sentence = (
            f"accepted {accepted_text}, with what the gauge may be off; "
            f"required {sentence}"
        )
    return sentence


def curves_told(lines) -> list[str]:
    """Return what a bridge reads too much on a curve, once for all stations alike."""
    groups: dict[str, list[str]] = {}
    for line in lines:
        if line.correction:
            groups.setdefault(line.correction, []).append(line.station)
    return [
        f"The gauge stands on a curve at {span(tuple(labels))}: there flushness reads "
        f"{much} too much. That is not taken off."
        for much, labels in groups.items()
    ]


def cuts_told(check: Check, stations: Sequence[Station], unit: str) -> list[str]:
    """Return a line for each cut of either side before this check, the oldest first."""
    fit_up = check.fit_up
    parts = [fit_up.part_id, fit_up.surround_part_id]
    rows = (
        TrimCut.objects.filter(
            part__in=[key for key in parts if key],
            fit_up__joint=fit_up.joint_id,
            entry__received_at__lt=check.entry.received_at,
        )
        .select_related("part", "entry", "fit_up")
        .order_by("id")
    )
    along = along_seam(stations, fit_up.revision.closed)[0]
    named = [(s, station.label) for s, station in zip(along, stations, strict=True)]
    lines = []
    for (_act, part, _side), cuts in groupby(
        rows, key=lambda cut: (cut.entry_id, cut.part.serial, cut.side)
    ):
        lines.append(_cut(list(cuts), part, named, fit_up.revision_id, unit))
    return [line for line in lines if line]


def _cut(cuts: list[TrimCut], part: str, named, revision: int, unit: str) -> str:
    deep = [cut for cut in cuts if cut.depth_nm]
    if not deep:
        return ""
    depths = sorted(cut.depth_nm for cut in deep)
    size = lengths.length(depths[-1], unit)
    if depths[0] != depths[-1]:
        places = 2 if unit == "mm" else 4
        size = f"{format_length(depths[0], unit, places)} to {size}"
    where = _where(deep, named, revision)
    return f"{part}: {size} off {where}, fit-up {deep[0].fit_up.number}."


def _where(cuts: Iterable[TrimCut], named, revision: int) -> str:
    cuts = list(cuts)
    if all(cut.fit_up.revision_id == revision for cut in cuts):
        labels = [min(named, key=lambda n: abs(n[0] - to_mm(c.s_nm)))[1] for c in cuts]
        return f"at {span(tuple(dict.fromkeys(labels)))}"
    # The stations of an earlier revision lie elsewhere.
    at = sorted(to_mm(cut.s_nm) for cut in cuts)
    return f"from {at[0]:.0f} to {at[-1]:.0f} mm along the seam"


def rule_text(revision, check: Check, unit: str) -> str:
    """Return the decision rule in words."""
    if revision.rule == "simple":
        return "Simple acceptance: conforms on and inside the limits."
    default = (
        "95 % conformance probability (ISO 14253-1:2017)"
        if revision.edition == "2017"
        else "k = 2 (ISO 14253-1:1998)"
    )
    return (
        f"Guarded acceptance, {default}, judged by a standard uncertainty of "
        f"{lengths.length(check.u_nm, unit, 3 if unit == 'mm' else 5)}."
    )
