"""Ways side by side as commands tell them."""

from collections.abc import Sequence

from qa.numeric.plan.ways import Way
from qa.wording.ways import WORDS
from shop.wording import states


def plain_ways(ways: Sequence[Way]) -> list[dict]:
    """For other programs: mm and mm2, in the order recommended."""
    return [
        {
            "way": way.kind,
            "conforms": way.conforms,
            "probability": way.probability,
            "trim_area_mm2": round(way.trim_area_mm2, 6) + 0.0,
            "trim_length_mm": round(way.trim_length_mm, 6) + 0.0,
            "stations_cut": len(way.cut),
            "adjusters_changed": way.adjusters_changed,
            "worst": round(way.worst, 6) + 0.0,
            "stations_to_measure": len(way.stale),
            "minutes": round(way.minutes, 1),
        }
        for way in ways
    ]


def way_lines(ways: Sequence[Way]) -> list[str]:
    """For people, the one recommended first."""
    lines = ["Ways, the least work that is enough first:"]
    for way in ways:
        word = states.word("conforms" if way.conforms else "does_not_conform")
        parts = [f"{WORDS[way.kind]}: {word}, worst deviation {way.worst:.3f}"]
        if way.probability is not None:
            parts.append(f"probability {way.probability:.3f}")
        if way.adjusters_changed:
            parts.append(f"{way.adjusters_changed} to set")
        if way.cut:
            count = len(way.cut)
            parts.append(
                f"{count} {'station' if count == 1 else 'stations'} to cut, "
                f"{way.trim_length_mm:.0f} mm of edge, {way.trim_area_mm2:.1f} mm2"
            )
        if way.stale:
            parts.append(f"{len(way.stale)} to measure again")
        parts.append(f"about {way.minutes:.0f} minutes")
        lines.append("  " + "; ".join(parts) + ".")
    return lines
