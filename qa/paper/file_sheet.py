"""The inspection sheet of a check that was judged from files, without a database.

Who, when and how is not in the files: those places stay empty on the sheet, to be
filled in by hand. Same files, same bytes.
"""

import hashlib
import json
import math
from datetime import UTC, datetime

from qa.drawing.joint_map import JointMap, MapStation
from qa.drawing.profile import Profile, ProfilePoint
from qa.drawing.projection import view_from_outside
from qa.numeric.geometry import outline
from qa.numeric.geometry.joint import Joint
from qa.numeric.verdict import acceptance
from qa.numeric.verdict.acceptance import Rule, Verdict
from qa.numeric.verdict.grouping import GAP_KINDS
from qa.numeric.verdict.report import (
    CHARACTERISTICS,
    NOT_MEASURED,
    CheckReport,
    Outcome,
    Result,
    as_plain,
)
from qa.queries.checks.check_sheets import CheckSheet, SheetFinding, SheetRow
from qa.wording import lengths
from qa.wording.findings import sentence
from qa.wording.probabilities import thousandths
from shop.numeric.units import format_length, to_mm
from shop.wording import states

# Files carry no time of issue, and a PDF wants one: the same for all, none printed.
UNDATED = datetime(2000, 1, 1, tzinfo=UTC)

NAMES = {"gap": "gap", "flush": "flushness"}


def sheet(
    joint: Joint, report: CheckReport, *, name: str, readings_name: str, shop: str
) -> CheckSheet:
    """The sheet of a judged check; the names are those of the two files."""
    data = json.dumps(as_plain(report), sort_keys=True, indent=1)
    outcome = "" if report.outcome == Outcome.NO_LIMITS else str(report.outcome)
    return CheckSheet(
        shop=shop,
        number=readings_name,
        joint_number=name,
        joint_name=name,
        joint_revision="",
        airframe_type="",
        airframe_serial="",
        fitted="",
        surround="",
        fit_up="",
        done_by="",
        done_at="",
        condition=(("Standard uncertainty", _uncertainty(report)),),
        rule=_rule(report),
        outcome=outcome,
        outcome_word=states.whole_word(outcome),
        counts=states.counted(report.counts),
        map=_map(joint, report, name),
        profile=_profile(joint, report, name),
        rows=tuple(_rows(report)),
        limits=tuple(_limits(report)),
        issued_at=UNDATED,
        joint_probability=_all_conform(report),
        again=tuple(_again(report)),
        findings=tuple(
            SheetFinding(str(number), sentence(report, finding), state="")
            for number, finding in enumerate(report.findings, 1)
        ),
        remarks=("Judged from files, without a record in the shop's ledger.",),
        digest=hashlib.sha256(data.encode()).hexdigest(),
        data=data,
    )


def drawn_state(result: Result) -> str:
    """The state a result is drawn with: above and below are told apart."""
    beyond = result.judged.deviation_nm if result.judged else None
    return states.key_of(result.state, beyond)


def _limits(report: CheckReport):
    """A line for each kind and pair of limits, with the stations they hold at."""
    for kind, word in zip(CHARACTERISTICS, ("Gap", "Flushness"), strict=True):
        groups: dict[str, list[str]] = {}
        for station in report.stations:
            result = getattr(station, kind)
            if result.has_limits:
                words = _between(result.low_nm, result.high_nm)
                accepted = _accepted(report, result)
                if accepted:
                    words = f"accepted {accepted}, required {words}"
                groups.setdefault(words, []).append(station.label)
        for words, labels in groups.items():
            everywhere = len(labels) == len(report.stations)
            where = "everywhere" if everywhere else f"at {', '.join(labels)}"
            yield f"{word} {where}: {words} mm."


def _between(low_nm: int | None, high_nm: int | None) -> str:
    low, high = (None if nm is None else _exact(nm) for nm in (low_nm, high_nm))
    if low is None:
        return f"at most {high}"
    return f"at least {low}" if high is None else f"{low} to {high}"


def _map(joint: Joint, report: CheckReport, name: str) -> JointMap:
    view = view_from_outside(joint.places, joint.faces)
    places, normals = view.points(joint.places), view.directions(joint.gap_directions)
    stations = tuple(
        MapStation(
            label=station.label,
            x=float(places[row, 0]),
            y=float(places[row, 1]),
            nx=float(normals[row, 0]),
            ny=float(normals[row, 1]),
            gap_text=_short(station.gap.value_nm),
            flush_text=_short(station.flush.value_nm, signed=True),
            gap_state=drawn_state(station.gap),
            flush_state=drawn_state(station.flush),
        )
        for row, station in enumerate(report.stations)
    )
    return JointMap(
        title=name,
        stations=stations,
        closed=joint.closed,
        part_inside=joint.part_inside,
    )


def _profile(joint: Joint, report: CheckReport, name: str) -> Profile:
    along, length = outline.distances_along(joint.places, joint.closed)
    drawn = {
        characteristic: tuple(
            _point(report, station.label, along[row], getattr(station, characteristic))
            for row, station in enumerate(report.stations)
        )
        for characteristic in CHARACTERISTICS
    }
    bars = "bars: expanded uncertainty, k = 2" if report.u_nm else ""
    return Profile(name, "mm", length, **drawn, bar_text=bars)


def _inside(report: CheckReport, result: Result) -> acceptance.Acceptance | None:
    """What the result is judged by, None without limits."""
    if not result.has_limits:
        return None
    return acceptance.acceptance(
        result.low_nm, result.high_nm, report.u_nm, report.rule, report.edition
    )


def _accepted(report: CheckReport, result: Result) -> str:
    """The limits that govern, where a guard draws them in; else ""."""
    inside = _inside(report, result)
    required = (result.low_nm, result.high_nm)
    return lengths.accepted(required, inside.inside) if inside else ""


def _point(report: CheckReport, label: str, s: float, result: Result) -> ProfilePoint:
    inside = _inside(report, result)
    return ProfilePoint(
        label=label,
        s=float(s),
        value=_mm(result.value_nm),
        low=_mm(result.low_nm),
        high=_mm(result.high_nm),
        low_in=_mm(inside and inside.low_in),
        high_in=_mm(inside and inside.high_in),
        state=drawn_state(result),
        spread=to_mm(2 * (report.u_nm or 0)),
    )


def _rows(report: CheckReport):
    numbers = {
        (row, "gap" if finding.kind in GAP_KINDS else "flush"): str(number)
        for number, finding in enumerate(report.findings, 1)
        for row in finding.rows
    }
    for row, station in enumerate(report.stations):
        for characteristic in CHARACTERISTICS:
            result = getattr(station, characteristic)
            if not result.has_limits and result.value_nm is None:
                continue
            judged = result.judged
            beyond = judged.deviation_nm if judged else 0
            known = judged and judged.probability is not None
            yield SheetRow(
                station=station.label,
                characteristic=NAMES[characteristic],
                requirement=_accepted(report, result).removesuffix(" mm")
                or _requirement(result),
                typed="",
                millimeters=_exact(result.value_nm),
                state=drawn_state(result),
                deviation=_exact(beyond, signed=True) if beyond else "",
                probability=thousandths(judged.probability) if known else "",
                nonconformance=numbers.get((row, characteristic), ""),
            )


def _again(report: CheckReport):
    for state in (Verdict.NOT_PROVEN, NOT_MEASURED):
        for characteristic in CHARACTERISTICS:
            if labels := report.labels_in(state, characteristic):
                name = NAMES[characteristic]
                yield f"{name} {states.word(state)}: {', '.join(labels)}"


def _all_conform(report: CheckReport) -> str:
    """Product over the results, errors taken as independent; "" when not known."""
    chances = [
        result.judged.probability
        for station in report.stations
        for result in (station.gap, station.flush)
        if result.judged
    ]
    complete = not report.counts[NOT_MEASURED] and chances and None not in chances
    return thousandths(math.prod(chances)) if complete else ""


def _rule(report: CheckReport) -> str:
    if report.rule is Rule.GUARDED:
        return f"guarded acceptance, ISO 14253-1:{report.edition}"
    return "simple acceptance"


def _uncertainty(report: CheckReport) -> str:
    if report.u_nm is None:
        return "not stated"
    return f"{format_length(report.u_nm, 'mm')} mm"


def _requirement(result: Result) -> str:
    low, high = _exact(result.low_nm), _exact(result.high_nm)
    if low and high:
        return f"{low} to {high}"
    return f"at least {low}" if low else f"at most {high}" if high else ""


def _short(nm: int | None, *, signed: bool = False) -> str:
    """Two decimals for the map."""
    return "" if nm is None else _signed(format_length(nm, "mm", 2), nm, signed)


def _exact(nm: int | None, *, signed: bool = False) -> str:
    """All decimals there are, at least two."""
    if nm is None:
        return ""
    whole, _, part = format_length(nm, "mm").partition(".")
    return _signed(f"{whole}.{part.ljust(2, '0')}", nm, signed)


def _signed(text: str, nm: int, signed: bool) -> str:
    text = text.replace("-", "\N{MINUS SIGN}")
    return f"+{text}" if signed and nm > 0 else text


def _mm(nm: int | None) -> float | None:
    return None if nm is None else to_mm(nm)
