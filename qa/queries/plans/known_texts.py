"""How well a plan is known: a sentence beside it, and the digits of what it expects."""

from qa.queries.plans.move_texts import intervals_of
from qa.rules import plan_bodies
from qa.rules.bites import Bite
from qa.rules.planning import WorkedPlan
from qa.wording import lengths
from qa.wording import plans as wording
from shop.numeric.units import to_nm


def known_words(worked: WorkedPlan) -> str:
    """What ± says on this plan, or why there is none; "" where it moves and cuts
    nothing."""
    intervals, options = intervals_of(worked), worked.options
    if intervals is not None:
        if not (
            intervals.moves or intervals.settings or intervals.cuts or _cuts(worked)
        ):
            return ""
        return wording.known(
            set_u=any(adjuster.set_u for adjuster in options.adjusters or ()),
            scatter=bool(options.cut_scatter_mm and _cuts(worked)),
        )
    if (
        not worked.asked_settings
        and not any(worked.plan.move.raw)
        and not _cuts(worked)
    ):
        return ""
    if not worked.plan.measured:
        return ""
    if not options.uncertainty_mm:
        return str(wording.UNKNOWN["no_uncertainty"])
    if worked.record and plan_bodies.before_intervals(worked.record.content):
        return str(wording.UNKNOWN["before"])
    return str(wording.UNKNOWN["not_drawn"])


def shared_errors(worked: WorkedPlan, unit: str) -> str:
    """What of the errors of readings counts once; "" where nothing is known of them."""
    if not (worked.options.uncertainty_mm and worked.plan.measured):
        return ""
    zeros = [(zero.code, zero.common_nm) for zero in worked.zeros]
    return wording.shared_errors(zeros, to_nm(worked.options.common_u_mm or 0), unit)


def _cuts(worked: WorkedPlan) -> bool:
    return any(worked.bite(station).bite for _, _, station in worked.stations())


def gap_after(station, bite: Bite) -> float | None:
    """The gap that the full trim leaves, as it is asked for."""
    gap = station.gap_after
    return None if gap is None else gap + bite.trim - station.trim


def on_map(unit: str, mm: float | None, *, signed=False, half=None) -> str:
    """mm on a map, in the digits that are known by half of an interval, mm."""
    nm = None if mm is None else to_nm(mm)
    return lengths.on_map(nm, unit, signed=signed, half=half)


def to_be(worked: WorkedPlan, now: float | None, after: float | None) -> float | None:
    """How well what is expected is known; None where it stays as it was read."""
    same = now is not None and after is not None and to_nm(now) == to_nm(after)
    return None if same else worked.options.resolution_mm
