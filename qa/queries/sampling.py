"""What a sample protects from, for a page: no statement."""

from dataclasses import dataclass

from qa.drawing import operating_curve, svg
from qa.drawing.operating_curve import CurveSheet
from qa.numeric.measuring.attribute_plans import published_plan
from qa.numeric.measuring.sampling import (
    find_plan,
    quality_accepted,
)
from qa.numeric.measuring.sampling import (
    operating_curve as curve_of,
)
from shop.numeric.units import PERCENT

MOSTLY, RARELY = 0.95, 0.10
POINTS, TICKS = 60, 10
STEPS = (0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1, 2, 5, 10)  # percent
_ALONE = " The rows below are of this lot alone, in whole pieces."
TABLED = (0.1, 0.25, 0.5, 1, 1.5, 2.5, 4, 6.5, 10, 15, 20, 25, 30, 40, 50)


@dataclass(frozen=True)
class SamplePage:
    """A plan in words, its curve, and the same as rows (percent, percent)."""

    does: str
    notes: list[str]
    # Empty where all are looked at: nothing is left to chance.
    protects: str
    svg: str
    rows: list[tuple[str, str]]


def by_table(lot: int, level: str, limit: str) -> SamplePage:
    """SamplingError where the table has none."""
    plan = published_plan(lot, level, limit)
    notes = [f"Letter {plan.asked} of table 1 for this lot at level {level}."]
    if plan.letter != plan.asked:
        notes.append(f"The table leads on to letter {plan.letter}.")
    if plan.all_of_it:
        return _all_of(lot, notes)
    return _page(plan.n, plan.c, lot, notes)


def by_risks(good, shop_risk, bad, customer_risk, pieces) -> SamplePage:
    """All but pieces in percent; SamplingError where no plan keeps these risks."""
    shares = [percent / PERCENT for percent in (good, shop_risk, bad, customer_risk)]
    plan = find_plan(*shares, lot=pieces)
    if plan.all_of_it:
        return _all_of(plan.n, ["Nothing less keeps both risks."])
    return _page(plan.n, plan.c, pieces, [])


def _all_of(lot: int, notes: list[str]) -> SamplePage:
    does = f"Look at all {lot}: every one that does not conform is found."
    return SamplePage(does, notes, "", "", [])


def _page(n: int, c: int, lot: int | None, notes: list[str]) -> SamplePage:
    mostly, rarely = (quality_accepted(share, n, c) for share in (MOSTLY, RARELY))
    shares = _shares(min(1.0, 2 * rarely), lot)
    points = _percent(shares, curve_of(shares, n, c, lot=lot))
    tabled = _tabled(lot)
    marked = () if lot else _percent((mostly, rarely), (MOSTLY, RARELY))
    title = f"look at {n}, accept with at most {c}"
    of = f" of the {lot}" if lot else ""
    most = "none" if c == 0 else f"at most {c}"
    drawn = operating_curve.build(CurveSheet(title, points, marked))
    return SamplePage(
        does=f"Look at {n}{of}; accept with {most} that do not conform.",
        notes=notes,
        protects=(
            f"As of a process: {_share(mostly)} nonconforming is accepted 95 % of the "
            f"time, {_share(rarely)} still 10 %.{_ALONE if lot else ''}"
        ),
        svg=svg.render(drawn, prefix="oc"),
        rows=[
            (_row(at, lot), f"{accepted:.1f} %")
            for at, accepted in _percent(tabled, curve_of(tabled, n, c, lot=lot))
        ],
    )


def _shares(last: float, lot: int | None) -> list[float]:
    """From 0 to a round number of percent that holds `last`; of a lot whole pieces."""
    step = next(step for step in STEPS if step * TICKS >= PERCENT * last)
    last = min(1.0, step * TICKS / PERCENT)
    even = [last * k / POINTS for k in range(POINTS + 1)]
    if lot is None:
        return even
    return sorted({min(round(share * lot), lot) / lot for share in even})


def _tabled(lot: int | None) -> list[float]:
    """Shares of the rows; of a lot those of the nearest whole pieces, each once."""
    shares = [percent / PERCENT for percent in TABLED]
    if lot is None:
        return shares
    pieces = sorted({round(share * lot) for share in shares} - {0})
    return [piece / lot for piece in pieces]


def _row(percent: float, lot: int | None) -> str:
    if lot is None:
        return f"{percent:g} %"
    return f"{round(percent * lot / PERCENT)} of {lot} ({percent:.3g} %)"


def _percent(shares, accepted) -> tuple[tuple[float, float], ...]:
    pairs = zip(shares, accepted, strict=True)
    return tuple((PERCENT * at, PERCENT * value) for at, value in pairs)


def _share(value: float) -> str:
    return f"{PERCENT * value:.3g} %"
