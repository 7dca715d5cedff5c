"""What the openings do where parts were tried in several, as rows of texts."""

from dataclasses import dataclass

from django.utils.translation import gettext as _

from qa.models import Kind
from qa.numeric.tool.opening_effects import OpeningTold
from qa.numeric.tool.openings import OpeningValue
from qa.queries.molds.deviation_maps import signed
from qa.wording import lengths
from qa.wording.openings import opening_word
from shop.numeric.units import to_nm


@dataclass(frozen=True)
class OpeningCell:
    """One characteristic, as texts without unit; "" where nothing is told."""

    value: str
    bounds: str
    does: str
    beyond: bool


@dataclass(frozen=True)
class OpeningRow:
    opening: str
    label: str
    gap: OpeningCell
    flush: OpeningCell


@dataclass(frozen=True)
class OpeningsPage:
    """The places at which an opening is beyond its bounds. `told` of `all` values can
    be, `widest` says how far the others of these may be from the mean of all."""

    rows: list[OpeningRow]
    estimable: int
    all: int
    widest: str
    unit: str


def openings_page(
    each: tuple[OpeningTold, ...], labels: list[str], unit: str
) -> OpeningsPage | None:
    """None where nothing is told of any opening."""
    values = [value for station in each for value in (*station.gap, *station.flush)]
    bounded = [value for value in values if value.low_mm is not None]
    if not bounded:
        return None
    alike = [max(-v.low_mm, v.high_mm) for v in bounded if not v.way]
    widest = lengths.length(to_nm(max(alike)), unit) if alike else ""
    rows = [
        OpeningRow(
            station.name,
            label,
            _cell(both[Kind.GAP], Kind.GAP, unit),
            _cell(both[Kind.FLUSH], Kind.FLUSH, unit),
        )
        for station in each
        for label, both in zip(labels, station.by_kind, strict=True)
        if any(value.way for value in both.values())
    ]
    return OpeningsPage(rows, len(bounded), len(values), widest, unit)


def _cell(value: OpeningValue, kind: str, unit: str) -> OpeningCell:
    if value.low_mm is None:
        return OpeningCell(signed(value.opening_mm, unit), "", "", False)
    bounds = _("%(low)s to %(high)s") % {
        "low": signed(value.low_mm, unit),
        "high": signed(value.high_mm, unit),
    }
    does = opening_word(value, kind)
    return OpeningCell(signed(value.opening_mm, unit), bounds, does, bool(value.way))
