"""Predicted against done for the page: settings of a part, and what came after them."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from qa.models import Joint
from qa.numeric.plan.setting_spread import LEAST_ROUNDS, Came
from qa.rules import setting_rounds
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

    @property
    def offered(self) -> dict[str, int]:
        """Setting uncertainty by the name of the adjuster, nm."""
        return {one.name: one.offered_nm for one in self.adjusters if one.offered_nm}


def came_view(position: Position, unit: str) -> CameView:
    story = setting_rounds.of_position(position)
    return CameView(
        position=position,
        least=LEAST_ROUNDS,
        adjusters=[_adjuster(one, unit) for one in story.came],
        rounds=[_round(one, unit) for one in reversed(story.done)],
        joints=[
            (joint, [_station(one, unit) for one in stations])
            for joint, stations in story.stations
        ],
    )


def _text(nm: float, unit: str, sign: bool = False) -> str:
    shown = format_length(round(nm), unit, PLACES[unit])
    plus = "+" if sign and not shown.startswith("-") and float(shown) else ""
    return f"{plus}{shown} {unit}"


def _mm(mm: float, unit: str, sign: bool = False) -> str:
    return _text(to_nm(mm), unit, sign)


def _adjuster(one: Came, unit: str) -> AdjusterRow:
    count = len(one.errors)
    known = one.spread is not None
    why = "unseen" if known and not one.spread else one.why
    return AdjusterRow(
        name=one.name,
        rounds=count,
        mean=_mm(one.mean, unit, sign=True) if count else "",
        spread=_mm(one.spread, unit) if known else "",
        between=f"{_mm(one.low, unit)} … {_mm(one.high, unit)}" if known else "",
        why=came_why(why, count, LEAST_ROUNDS),
        offered_nm=to_nm(round(one.spread, 3)) or None if known else None,
    )


def _round(one: SetDone, unit: str) -> RoundRow:
    apart = one.apart_nm
    began = [round_.epoch.began_at for _, round_ in one.measured]
    return RoundRow(
        airframe=str(one.airframe),
        when=began[0],
        words=one.words,
        readings=len(apart),
        worst=_text(max(apart, key=abs), unit, sign=True) if apart else "",
        why=round_why(one.why),
    )


def _station(one: StationCame, unit: str) -> StationRow:
    return StationRow(
        label=one.label,
        rounds=max(len(one.gaps), len(one.flushes)),
        gap=_about(one.gaps, unit),
        flush=_about(one.flushes, unit),
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
