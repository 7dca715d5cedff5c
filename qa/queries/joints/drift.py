"""The drift of one place or mode over parts, against the pull numbers of each mold."""

from dataclasses import dataclass
from fractions import Fraction

from qa.drawing import svg, trend_chart
from qa.drawing.scene import Scene
from qa.drawing.trend_chart import TrendSheet
from qa.numeric.measuring.trend import MOST_BREAKS, Trend, trend
from qa.queries.joints.part_charts import FINER, Series, Table
from qa.rules import over_parts as rules
from qa.wording.lengths import true_minus
from qa.wording.measuring import drift, remark, too_many_repairs
from shop.models import Pull


@dataclass(frozen=True)
class TrendOf:
    """The drift of one mold's pulls."""

    mold: str
    scene: Scene | None
    table: Table | None
    words: str

    @property
    def svg(self) -> str:
        prefix = f"trend-{len(self.mold)}-{self.mold}"
        return svg.render(self.scene, prefix=prefix) if self.scene else ""


def trends_of(series: Series) -> list[TrendOf]:
    """Mold by mold."""
    molds: dict[str, list[tuple[Pull, Fraction]]] = {}
    for read, value in zip(series.reads, series.values, strict=True):
        for pull in read.pulls:
            molds.setdefault(pull.tool.code, []).append((pull, value))
    repairs = rules.repairs_of(series.reads)
    return [
        _trend(series, code, rows, repairs[rows[0][0].tool_id])
        for code, rows in molds.items()
    ]


def _trend(series: Series, code: str, rows, repairs: list[int]) -> TrendOf:
    pulls = [pull.number for pull, _value in rows]
    values = [value for _pull, value in rows]
    breaks = [number for number in repairs if min(pulls) <= number <= max(pulls)]
    if len(breaks) > MOST_BREAKS:
        return TrendOf(code, None, None, too_many_repairs(MOST_BREAKS))
    result, limit = _towards(series, pulls, values, breaks)
    if result.slope is None:
        return TrendOf(code, None, None, remark(result.why) or "")
    digits = FINER[series.unit]
    words = remark(result.course) or ""
    if limit is None:
        to_target = series.target is not None
        words = drift(result, series.unit, digits, to_target=to_target)
    words = true_minus(words)
    drawn = series.target if limit is None else limit
    sheet = TrendSheet(
        title=f"{series.title}, {code}",
        unit=series.unit,
        limit=None if drawn is None else float(drawn),
        points=tuple((float(p), float(v)) for p, v in zip(pulls, values, strict=True)),
        trend=result,
        words=words,
        breaks=tuple(map(float, breaks)),
        digits=digits,
        limit_name="target" if limit is None else "limit",
    )
    table = Table.of(trend_chart.table(sheet))
    return TrendOf(code, trend_chart.build(sheet), table, words)


def _towards(series: Series, pulls, values, breaks) -> tuple[Trend, Fraction | None]:
    """The trend against the limit that it leads to; where there is none, against the
    target, if there is one."""
    if series.low is series.high is None:
        return trend(pulls, values, series.target or 0, breaks=breaks), None
    return towards(series.low, series.high, pulls, values, breaks)


def towards(
    low: Fraction | None, high: Fraction | None, pulls, values, breaks
) -> tuple[Trend, Fraction]:
    """The trend against that of one or two limits that it leads to."""
    first = low if high is None else high
    fitted = trend(pulls, values, first, breaks=breaks)
    if fitted.slope is not None and fitted.slope < 0 and low is not None:
        return trend(pulls, values, low, breaks=breaks), low
    return fitted, first
