"""Hole patterns and what was measured of them, for lists and pages."""

from dataclasses import dataclass, field

from django.db.models import Count, F, Q, QuerySet

from qa.drawing import plate, svg
from qa.drawing.plate import Plate, PlateHole
from qa.models import (
    HoleCheck,
    HolePattern,
    HolePatternRevision,
    HoleReading,
    Nonconformance,
    PatternHole,
)
from qa.numeric.holes import position as numbers
from qa.numeric.holes.fasteners import (
    STANDARD_SPRING_GRIP,
    FastenerError,
    Grip,
    check_grip,
)
from qa.numeric.holes.rigid_fit import FitError
from qa.numeric.holes.spacing import SPACING_RULES, SpacingRule, spacing_shortfalls
from qa.rules import decided
from qa.rules.holes import (
    LACKS_SIZE,
    as_read,
    fails,
    lacks_size,
    read_in,
    sized,
    tell_wrong_sizes,
)
from qa.wording import holes as hole_words
from qa.wording import lengths
from qa.wording.holes import SPACING
from shop.numeric.units import to_mm, to_nm
from shop.queries.paging import count_of, search

RELATED = (
    "entry__by",
    "part__design",
    "instrument",
    "revision__pattern__joint",
    "revision__pattern__design",
    "revision__pattern__mate",
)


def patterns(words: str = "") -> QuerySet[HolePattern]:
    """Return patterns with everything a row shows."""
    now = PatternHole.objects.filter(revision=F("revision__pattern__current"))
    rows = HolePattern.objects.select_related("joint", "design", "mate", "current")
    rows = rows.annotate(
        hole_count=count_of(now, "revision__pattern"),
        check_count=count_of(HoleCheck.objects.all(), "revision__pattern"),
    )
    return search(rows.order_by("number"), words, "number", "name")


def rule_named(key: str) -> SpacingRule | None:
    return next((rule for rule in SPACING_RULES if rule.key == key), None)


@dataclass(frozen=True)
class HoleRow:
    """One hole as required, and as measured where it was; texts without unit."""

    label: str
    nominal: str
    zone: str
    size: str
    measured: str = ""
    found_size: str = ""
    # The earlier check whose size that is, where this one has none.
    sized_in: str = ""
    position: str = ""
    allowed: str = ""
    verdict: str | None = None
    faults: str = ""
    edge_ratio: str = ""
    edge_short: bool = False
    radial: str = ""
    clearance: str = ""


@dataclass
class PatternView:
    """A revision of a pattern for its page."""

    pattern: HolePattern
    revision: HolePatternRevision
    unit: str
    rows: list[HoleRow]
    plate: str
    rule: SpacingRule | None
    checks: list[HoleCheck]


def pattern_view(
    pattern: HolePattern, revision: HolePatternRevision, unit: str
) -> PatternView:
    holes = list(revision.holes.all())
    failing = Q(readings__position_conforms=False) | Q(readings__size_conforms=False)
    checks = HoleCheck.objects.filter(revision__pattern=pattern)
    checks = checks.select_related("entry__by", "part", "revision").annotate(
        failing=Count("readings", filter=failing),
        unsized=Count("readings", filter=LACKS_SIZE),
        count=Count("readings"),
        wanted=count_of(PatternHole.objects.all(), "revision__checks"),
    )
    drawn = [
        PlateHole(
            hole.label,
            to_mm(hole.x_nm),
            to_mm(hole.y_nm),
            zone=to_mm(hole.zone_nm),
        )
        for hole in holes
    ]
    checks = list(checks.order_by("-number"))
    tell_wrong_sizes(checks)
    return PatternView(
        pattern=pattern,
        revision=revision,
        unit=unit,
        rows=[_required(hole, unit) for hole in holes],
        plate=_svg(pattern, drawn),
        rule=rule_named(revision.spacing_rule),
        checks=checks,
    )


def _svg(pattern: HolePattern, drawn: list[PlateHole]) -> str:
    return svg.render(plate.build(Plate(str(pattern), tuple(drawn))), prefix="plate")


def _text(nm: int | None, unit: str) -> str:
    """A length with three decimals of mm or four of inch: holes are finer than gaps."""
    if nm is None:
        return ""
    return lengths.length(nm, unit, 3 if unit == "mm" else 4).removesuffix(f" {unit}")


def _required(hole, unit: str, **more) -> HoleRow:
    limits = ""
    if hole.low_nm is not None or hole.high_nm is not None:
        limits = f"{_text(hole.low_nm, unit)} to {_text(hole.high_nm, unit)}"
    return HoleRow(
        label=hole.label,
        nominal=f"{_text(hole.x_nm, unit)}, {_text(hole.y_nm, unit)}",
        zone=_text(hole.zone_nm, unit),
        size=limits,
        **more,
    )


@dataclass
class Together:
    """Whether a second serial takes the fasteners with the first."""

    other: HoleCheck
    accepts: bool
    words: str
    missing: list[str] = field(default_factory=list)


@dataclass
class HoleView:
    """A hole check whole."""

    check: HoleCheck
    unit: str
    rows: list[HoleRow]
    plate: str
    rule: SpacingRule | None
    conforms: int
    failing: int
    not_measured: int
    fits: list[tuple[str, str]]
    pitch: str
    short: list[str]
    others: list[HoleCheck]
    # Items of the pattern on this serial, and which holes nobody raised yet, in words.
    items: list[Nonconformance]
    raise_words: str
    together: Together | None = None
    grip: str = ""


def hole_view(
    check: HoleCheck,
    unit: str,
    *,
    other: HoleCheck | None = None,
    stack_mm: list[float] | None = None,
    grip_mm: float | None = None,
    standing: dict[int, HoleReading] | None = None,
) -> HoleView:
    """Return a check (loaded with RELATED) judged, fitted and compared. standing: the
    readings to show instead of its own, by hole."""
    holes = list(check.revision.holes.all())
    readings = read_in(check) if standing is None else standing
    rule = rule_named(check.revision.spacing_rule)
    read = [as_read(readings[hole.pk]) for hole in holes if hole.pk in readings]
    plan = numbers.plan_holes(read)
    ratios = {hole.label: hole.edge_ratio for hole in plan.holes}
    both = _together(check, holes, readings, other, unit) if other else (None, {})
    rows = [
        _row(hole, readings.get(hole.pk), ratios.get(hole.label), rule, both[1], unit)
        for hole in holes
    ]
    others = HoleCheck.objects.filter(revision=check.revision_id).exclude(pk=check.pk)
    # A pack, which says what stands, tells its items itself.
    items = decided.items_of_holes(check) if standing is None else []
    to_raise = decided.holes_to_raise(check, items) if standing is None else []
    return HoleView(
        check=check,
        unit=unit,
        rows=rows,
        plate=_svg(
            check.revision.pattern,
            [_drawn(hole, readings.get(hole.pk)) for hole in holes],
        ),
        rule=rule,
        conforms=sum(row.verdict == "conforms" for row in rows),
        failing=sum(row.verdict == "does_not_conform" for row in rows),
        not_measured=sum(row.verdict is None for row in rows),
        fits=_fits(plan, unit),
        pitch=_pitch(plan),
        short=_short(plan, rule),
        others=list(others.select_related("part").order_by("-number")[:50]),
        items=items,
        raise_words=hole_words.to_raise([row.hole.label for row in to_raise]),
        together=both[0],
        grip=_grip(stack_mm, grip_mm, unit),
    )


def _row(hole, reading, ratio, rule, radial, unit) -> HoleRow:
    if reading is None:
        return _required(hole, unit)
    faults = [] if reading.position_conforms else ["position"]
    faults += ["size"] if sized(reading).size_conforms is False else []
    short = bool(rule and spacing_shortfalls(rule, edge_ratio=ratio, pitch_ratio=None))
    apart, room = radial.get(hole.pk, ("", ""))
    return _required(
        hole,
        unit,
        measured=f"{_text(reading.x_nm, unit)}, {_text(reading.y_nm, unit)}",
        found_size=_text(sized(reading).size_nm, unit),
        sized_in=reading.sized.hole_check.label if reading.sized else "",
        position=_text(reading.position_nm, unit),
        allowed=_text(reading.allowed_nm, unit),
        verdict=_verdict(reading, faults),
        faults=", ".join(faults or ["size"] * lacks_size(reading)),
        edge_ratio="" if ratio is None else f"{ratio:.2f}",
        edge_short=short,
        radial=apart,
        clearance=room,
    )


def _verdict(reading: HoleReading, faults: list[str]) -> str | None:
    """None: what of it was measured is right, and its size was not."""
    if faults:
        return "does_not_conform"
    return None if lacks_size(reading) else "conforms"


def _drawn(hole, reading: HoleReading | None) -> PlateHole:
    x, y = to_mm(hole.x_nm), to_mm(hole.y_nm)
    if reading is None:
        return PlateHole(hole.label, x, y, zone=to_mm(hole.zone_nm))
    passed = "not_measured" if lacks_size(reading) else "conforms"
    return PlateHole(
        hole.label,
        x,
        y,
        measured=(to_mm(reading.x_nm), to_mm(reading.y_nm)),
        zone=to_mm(reading.allowed_nm),
        state="above" if fails(reading) else passed,
        text=lengths.on_map(reading.position_nm, "mm"),
    )


def _fits(plan: numbers.HolePlan, unit: str) -> list[tuple[str, str]]:
    if len(plan.holes) < 2:
        return []
    lines = []
    for word, fit, left in (
        ("least squares", plan.least_squares, ("rms", plan.least_squares.rms_mm)),
        ("least worst", plan.minimax, ("worst, radial,", plan.minimax.worst_mm)),
    ):
        x, y = (_text(to_nm(v), unit) for v in (fit.x_mm, fit.y_mm))
        rest = _text(to_nm(left[1]), unit)
        lines.append(
            (
                word,
                f"x {x}, y {y} {unit}, turn {fit.turn_deg:z.4f}°; "
                f"{left[0]} {rest} {unit} left".replace("-", "−"),
            )
        )
    return lines


def _pitch(plan: numbers.HolePlan) -> str:
    if plan.pitch is None:
        return ""
    first, other = plan.pitch.pair
    return f"{plan.pitch.ratio:.2f} D between {first} and {other}"


def _short(plan: numbers.HolePlan, rule: SpacingRule | None) -> list[str]:
    """What is closer than the rule allows."""
    if rule is None:
        return []
    sentences = []
    for hole in plan.holes:
        for shortfall in spacing_shortfalls(
            rule, edge_ratio=hole.edge_ratio, pitch_ratio=None
        ):
            ratio = f"{shortfall.ratio:.2f} D, {shortfall.least:g} D wanted"
            spacing = f"{SPACING[shortfall.what]} {ratio}"
            sentences.append(f"hole {hole.label}: {spacing}")
    pitch = plan.pitch.ratio if plan.pitch else None
    for shortfall in spacing_shortfalls(rule, edge_ratio=None, pitch_ratio=pitch):
        sentences.append(f"least pitch {_pitch(plan)}: {shortfall.least:g} D wanted")
    return sentences


def _together(check, holes, readings, other: HoleCheck, unit: str):
    """Lay the other serial's holes on these; (Together, {hole: (mismatch, room)})."""
    theirs = read_in(other)
    rows, clearances, missing = [], [], []
    for hole in holes:
        mine, its = readings.get(hole.pk), theirs.get(hole.pk)
        sizes = [reading.size_nm for reading in (mine, its) if reading]
        if len(sizes) < 2 or None in sizes or hole.fastener_nm is None:
            missing.append(hole.label)
            continue
        mm = (*sizes, hole.fastener_nm)
        clearances.append(numbers.radial_clearance(*(to_mm(nm) for nm in mm)))
        rows.append((hole, mine, its))
    if len(rows) < 2:
        sentence = "Both serials need the place and diameter of two holes or more."
        return Together(other, False, sentence, missing), {}
    try:
        fit = numbers.patterns_together(
            [(to_mm(a.x_nm), to_mm(a.y_nm)) for _, a, _ in rows],
            [(to_mm(b.x_nm), to_mm(b.y_nm)) for _, _, b in rows],
            clearances,
        )
    except FitError as why:
        return Together(other, False, f"{why}.", missing), {}
    tight = rows[fit.tightest][0].label
    left = lengths.length(to_nm(abs(fit.margin_mm)), unit, 3)
    sentence = (
        f"Both take their fasteners: {left} is left at hole {tight}, the tightest."
        if fit.accepts
        else f"They do not take their fasteners: {left} too little at hole {tight}, "
        "however the parts are laid on each other."
    )
    by_hole = {
        rows[k][0].pk: (
            _text(to_nm(fit.mismatch_mm[k]), unit),
            _text(to_nm(fit.clearance_mm[k]), unit),
        )
        for k in range(len(rows))
    }
    return Together(other, fit.accepts, sentence, missing), by_hole


def _grip(stack_mm, grip_mm, unit: str) -> str:
    """Whether the temporary fastener holds the stack, in words."""
    if not stack_mm:
        return ""
    grip = STANDARD_SPRING_GRIP
    if grip_mm:
        grip = Grip(0.0, grip_mm, "as typed")
    try:
        check = check_grip(stack_mm, grip)
    except FastenerError as why:
        return f"{why}."
    total = lengths.length(to_nm(check.stack_mm), unit)
    most = lengths.length(to_nm(grip.most_mm), unit)
    if check.holds:
        return f"{total} in all: within the grip of {most} ({grip.source})."
    over = lengths.length(to_nm(abs(check.over_mm)), unit)
    return f"{total} in all: {over} beyond the grip of {most} ({grip.source})."
