"""Findings of a check in words: what does not conform, where, and by how much."""

from collections.abc import Sequence

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from qa.numeric.verdict import grouping
from qa.numeric.verdict.grouping import Kind as FindingKind
from qa.numeric.verdict.report import CheckReport
from qa.wording import lengths
from shop.numeric.units import format_length

KINDS = {
    FindingKind.GAP_TIGHT: gettext_lazy("gap tight"),
    FindingKind.GAP_WIDE: gettext_lazy("gap wide"),
    FindingKind.FLUSH_PROUD: gettext_lazy("proud"),
    FindingKind.FLUSH_LOW: gettext_lazy("low"),
}

MOST_PLACE = 120  # characters of the place of a defect on a tool


def side(deviation_nm: int) -> str:
    """Which way a value is beyond its limit."""
    return _("under") if deviation_nm < 0 else _("over")


def beyond(deviation_nm: int | None, unit: str) -> str:
    """By how much a value is beyond its limit: "0.62 mm under", "" when it is not."""
    if not deviation_nm:
        return ""
    size = abs(deviation_nm)
    return f"{lengths.length(size, unit, beyond=size)} {side(deviation_nm)}"


def span(labels: Sequence[str]) -> str:
    """Stations for people: "station 4", "stations 4-7", "stations 23, 24, 1"."""
    numbers = [int(label) if label.isdecimal() else None for label in labels]
    steps = {
        b - a if None not in (a, b) else 0
        for a, b in zip(numbers, numbers[1:], strict=False)
    }
    names = ", ".join(labels)
    if len(labels) > 2 and steps == {1}:
        names = f"{labels[0]}–{labels[-1]}"
    elif len(labels) > 4:
        names = _("%(first)s to %(last)s") % {"first": labels[0], "last": labels[-1]}
    return ngettext("station %(where)s", "stations %(where)s", len(labels)) % {
        "where": names
    }


def places(labels: Sequence[str]) -> str:
    """Stations for people, each of them told: "station 4", "stations 1–3, 7, 9"."""
    runs: list[list[str]] = []
    for label in labels:
        last = runs[-1][-1] if runs else ""
        numbers = last.isdecimal() and label.isdecimal()
        if numbers and int(label) == int(last) + 1:
            runs[-1].append(label)
        else:
            runs.append([label])
    spans = [f"{run[0]}–{run[-1]}" if len(run) > 2 else ", ".join(run) for run in runs]
    return ngettext("station %(where)s", "stations %(where)s", len(labels)) % {
        "where": ", ".join(spans)
    }


def on_joint(joint: str, labels: Sequence[str]) -> str:
    """Where on a tool a defect is, as its record holds it ("J-101, stations 4–7"): what
    does not fit there is counted, no label is cut."""
    for count in range(len(labels), 0, -1):
        text, left = f"{joint}, {places(labels[:count])}", len(labels) - count
        if left:
            text += _(" and %(n)s more") % {"n": left}
        if len(text) <= MOST_PLACE:
            return text
    return joint


def title(
    kind: str, stations: Sequence[str], worst_nm: int, worst_at: str, unit: str
) -> str:
    """A finding on record: "gap tight, stations 4–7, worst 0.62 mm under at 5"."""
    below = kind in grouping.BELOW
    return _("%(kind)s, %(where)s, worst %(worst)s %(side)s at %(at)s") % {
        "kind": KINDS[kind],
        "where": span(stations),
        "worst": lengths.length(worst_nm, unit, beyond=worst_nm),
        "side": side(-1 if below else 1),
        "at": worst_at,
    }


def sentence(report: CheckReport, finding: grouping.Finding, unit: str = "mm") -> str:
    """A finding of files: "gap tight, stations 4-7, worst 0.62 under at 5".

    In the unit asked for: two or three decimals of mm, three or four of inch.
    """
    most = {"mm": 3, "in": 4}[unit]
    worst = format_length(finding.worst_nm, unit, most).removesuffix("0")
    if not worst.strip("0."):  # a failure by less than is shown is still one
        worst = format_length(finding.worst_nm, unit)
    below = finding.kind in grouping.BELOW
    at = report.stations[finding.worst_row].label
    return (
        f"{finding.kind.replace('_', ' ')}, {place_of(report, finding)}, "
        f"worst {worst} {side(-1 if below else 1)} at {at}"
    )


def place_of(report: CheckReport, finding: grouping.Finding) -> str:
    """Where a finding is: "station 5", "stations 4-7", "stations 23-24, 1-2"."""
    rows = finding.rows
    if len(rows) == 1:
        return f"station {report.stations[rows[0]].label}"
    turn = next((k for k in range(1, len(rows)) if rows[k] < rows[k - 1]), len(rows))
    spans = [span for span in (rows[:turn], rows[turn:]) if span]
    return "stations " + ", ".join(_span(report, span) for span in spans)


def _span(report: CheckReport, rows: tuple[int, ...]) -> str:
    first, last = (report.stations[row].label for row in (rows[0], rows[-1]))
    if first == last:
        return first
    return f"{first} to {last}" if "-" in first + last else f"{first}-{last}"
