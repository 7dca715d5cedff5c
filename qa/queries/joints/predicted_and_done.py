"""Predicted against done for the page: settings of a part, and what came after them."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from qa.models import Adjuster, Joint
from qa.numeric.plan.setting_spread import LEAST_ROUNDS, Came
from qa.rules import setting_rounds
from qa.rules.adjusters import holding_of
from qa.rules.setting_rounds import SetDone, StationCame
from qa.wording.settings import came_why, round_why
from shop.models import Position
from shop.numeric.units import format_length, to_nm

PLACES = {"mm": 3, "in": 4}


@dataclass(frozen=True)
class AdjusterRow:
    """How well one adjuster is set, as texts; `why` it cannot be told, "" where it is.
    `offered_nm`: what to state, None where nothing is told or nothing is seen."""

    name: str
    rounds: int
    mean: str
    spread: str
    between: str
    why: str
    offered_nm: int | None


@dataclass(frozen=True)
class RoundRow:
    """What was set once, and how far what came was from what was predicted."""

    airframe: str
    when: datetime | None
    words: str
    readings: int
    worst: str
    why: str


@dataclass(frozen=True)
class StationRow:
    label: str
    rounds: int
    gap: str
    flush: str


@dataclass(frozen=True)
class CameView:
    position: Position
    least: int
    adjusters: list[AdjusterRow]
    rounds: list[RoundRow]
    joints: list[tuple[Joint, list[StationRow]]]
    stated_nm: dict[str, int]

    @property
    def offered(self) -> dict[str, int]:
        """Setting uncertainty by the name of the adjuster, nm, where another one is
        stated now."""
        return {
            adjuster.name: adjuster.offered_nm
            for adjuster in self.adjusters
            if adjuster.offered_nm
            and adjuster.offered_nm != self.stated_nm.get(adjuster.name)
        }


def came_view(position: Position, unit: str) -> CameView:
    story = setting_rounds.of_position(position)
    return CameView(
        position=position,
        least=LEAST_ROUNDS,
        adjusters=[_adjuster(adjuster, unit) for adjuster in story.came],
        rounds=[_round(round_, unit) for round_ in reversed(story.done)],
        joints=[
            (joint, [_station(station, unit) for station in stations])
            for joint, stations in story.stations
        ],
        stated_nm=_stated_nm(position),
    )


def _stated_nm(position: Position) -> dict[str, int]:
    """How well each adjuster is said to be set now, by its name."""
    rows = Adjuster.objects.filter(point__holding=holding_of(position))
    rows = rows.select_related("point", "direction")
    return {adjuster.name: adjuster.set_u_nm for adjuster in rows}


def _text(nm: float, unit: str, sign: bool = False) -> str:
    shown = format_length(round(nm), unit, PLACES[unit])
    plus = "+" if sign and not shown.startswith("-") and float(shown) else ""
    return f"{plus}{shown.replace('-', '−')} {unit}"


def _mm(mm: float, unit: str, sign: bool = False) -> str:
    return _text(to_nm(mm), unit, sign)


def _adjuster(came: Came, unit: str) -> AdjusterRow:
    count = len(came.errors)
    known = came.spread is not None
    why = "unseen" if known and not came.spread else came.why
    return AdjusterRow(
        name=came.name,
        rounds=count,
        mean=_mm(came.mean, unit, sign=True) if count else "",
        spread=_mm(came.spread, unit) if known else "",
        between=f"{_mm(came.low, unit)} … {_mm(came.high, unit)}" if known else "",
        why=came_why(why, count, LEAST_ROUNDS),
        offered_nm=to_nm(round(came.spread, 3)) or None if known else None,
    )


def _round(set_done: SetDone, unit: str) -> RoundRow:
    apart = set_done.apart_nm
    began = [round_.epoch.began_at for _, round_ in set_done.measured]
    return RoundRow(
        airframe=str(set_done.airframe),
        when=began[0],
        words=set_done.words,
        readings=len(apart),
        worst=_text(max(apart, key=abs), unit, sign=True) if apart else "",
        why=round_why(set_done.why),
    )


def _station(station_came: StationCame, unit: str) -> StationRow:
    return StationRow(
        label=station_came.label,
        rounds=max(len(station_came.gaps), len(station_came.flushes)),
        gap=_about(station_came.gaps, unit),
        flush=_about(station_came.flushes, unit),
    )


def _about(apart: Sequence[int], unit: str) -> str:
    """The mean of what came less what was predicted, and its spread from two on."""
    if not apart:
        return ""
    mean = math.fsum(apart) / len(apart)
    if len(apart) < 2:
        return _text(mean, unit, sign=True)
    spread = math.sqrt(math.fsum((nm - mean) ** 2 for nm in apart) / (len(apart) - 1))
    return f"{_text(mean, unit, sign=True)}, spread {_text(spread, unit)}"
