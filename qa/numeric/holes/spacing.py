"""Edge distance and pitch of fasteners: the rules as data, with where they come from.

Multiples are of the fastener diameter. A shop chooses the rule of a joint, or writes
its own: sources differ, and the drawing governs. `status` says how far the source text
was seen, and goes wherever the rule is printed.
"""

from __future__ import annotations

import math
from dataclasses import dataclass


@dataclass(frozen=True)
class SpacingRule:
    """Least edge distance and pitch in diameters; None where a source has none."""

    key: str
    name: str
    edge_min: float | None
    pitch_min: float | None
    source: str
    status: str


@dataclass(frozen=True)
class SpacingShortfall:
    """What is closer than its rule, "edge" or "pitch": ratio found, least allowed."""

    what: str
    ratio: float
    least: float


SPACING_RULES = (
    SpacingRule(
        "metal_single_row",
        "Metal, single row of rivets",
        2.0,
        3.0,
        "FAA AC 43.13-1B (1998, change 1 of 2001) par. 4-57c(1)",
        "second-hand: quoted by others; the paragraph before it was read",
    ),
    SpacingRule(
        "metal_double_row",
        "Metal, double row of rivets",
        None,
        4.0,
        "FAA AC 43.13-1B par. 4-57c(2) and the worked example of par. 4-58g(2)",
        "implied by the worked example, whose text was read; figure 4-5 was not seen",
    ),
    SpacingRule(
        "navy_general",
        "General, naval training text",
        None,
        3.0,
        "NAVEDTRA 14018 chapter 13",
        "text read",
    ),
    SpacingRule(
        "nasa_general",
        "General, fastener design manual",
        1.5,
        None,
        "NASA RP-1228 (1990) pages 21 and 34",
        "second-hand: quoted by others",
    ),
    SpacingRule(
        "composite_advisory",
        "Composite laminate, advisory",
        3.0,
        4.0,
        "MIL-HDBK-17-3F and its successor, volume 3",
        "from memory, unverified",
    ),
)


def spacing_shortfalls(
    rule: SpacingRule, *, edge_ratio: float | None, pitch_ratio: float | None
) -> tuple[SpacingShortfall, ...]:
    """What falls short of the rule; a ratio that is not known is not judged.

    Ratios are lengths over the fastener diameter. Exactly on the rule is enough.
    Ratios of lengths in nanometers differ by more than their ninth decimal; what is
    beyond comes of dividing. ValueError for one that is no number.
    """
    shortfalls = []
    for what, ratio, least in (
        ("edge", edge_ratio, rule.edge_min),
        ("pitch", pitch_ratio, rule.pitch_min),
    ):
        if ratio is not None and not math.isfinite(ratio):
            raise ValueError(f"{what}: the ratio must be a number, not {ratio}")
        if ratio is not None and least is not None and round(ratio, 9) < least:
            shortfalls.append(SpacingShortfall(what, ratio, least))
    return tuple(shortfalls)
