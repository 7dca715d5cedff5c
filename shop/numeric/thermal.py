"""What a change of temperature does to lengths, gaps, rules, tools and angles.

Lengths in any one unit, temperatures degC, differences K, expansion 1e-6 per K. The
reference temperature of drawings is 20 degC (ISO 1:2022, text about it read).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

REFERENCE_C = 20.0
_MICRO = 1e-6


class ThermalError(ValueError):
    """A value that cannot be; the message says which and why."""


@dataclass(frozen=True)
class Expansion:
    """Linear expansion of a material in 1e-6 per K, as a range to start from."""

    key: str
    name: str
    least: float
    most: float
    source: str
    status: str

    @property
    def middle(self) -> float:
        return (self.least + self.most) / 2


_TEXTBOOK = "Callister, Materials Science and Engineering, table B.6"
_SHOP = "common practice, no source"
EXPANSIONS = (
    Expansion(
        "carbon_ud_along", "Carbon/epoxy UD, along", -0.5, -0.5, _TEXTBOOK, "text read"
    ),
    Expansion(
        "carbon_ud_across", "Carbon/epoxy UD, across", 32, 32, _TEXTBOOK, "text read"
    ),
    Expansion(
        "glass_ud_along", "Glass/epoxy UD, along", 6.6, 6.6, _TEXTBOOK, "text read"
    ),
    Expansion(
        "glass_ud_across", "Glass/epoxy UD, across", 30, 30, _TEXTBOOK, "text read"
    ),
    Expansion("carbon_quasi", "Carbon/epoxy, quasi-isotropic", 2, 4, _SHOP, _SHOP),
    Expansion("glass_woven", "Glass/epoxy, woven", 10, 14, _SHOP, _SHOP),
    Expansion("epoxy", "Epoxy", 45, 65, _SHOP, _SHOP),
    Expansion("tooling_foam", "Polyurethane tooling board", 40, 70, _SHOP, _SHOP),
    Expansion("tooling_epoxy", "Epoxy tooling board", 30, 45, _SHOP, _SHOP),
    Expansion("aluminum", "Aluminum", 23.6, 23.6, _TEXTBOOK, "from memory"),
    Expansion("steel", "Steel", 11, 12, _TEXTBOOK, "from memory"),
    Expansion("acrylic", "Acrylic", 70, 70, _TEXTBOOK, "from memory"),
)


def growth(expansion: float, length: float, warmer_k: float) -> float:
    """dL = a L dT, in the unit of `length`."""
    _finite(expansion=expansion, length=length, warmer_k=warmer_k)
    return expansion * _MICRO * length * warmer_k


def gap_change(
    opening_expansion: float,
    opening_length: float,
    part_expansion: float,
    part_length: float,
    warmer_k: float,
) -> float:
    """Change of the gap across both sides together; negative is gap lost."""
    return growth(opening_expansion, opening_length, warmer_k) - growth(
        part_expansion, part_length, warmer_k
    )


def tool_length(
    part_length: float, part_expansion: float, tool_expansion: float, set_above_k: float
) -> float:
    """Length of the tool at room temperature that gives this part at room temperature.

    `set_above_k` is how far above room temperature the part sets (gels): none for a
    part that gels at room temperature and is post-cured off the mold.
    """
    _finite(part_length=part_length, set_above_k=set_above_k)
    _finite(part_expansion=part_expansion, tool_expansion=tool_expansion)
    grown = part_length * (1 + part_expansion * _MICRO * set_above_k)
    tool_grows = 1 + tool_expansion * _MICRO * set_above_k
    if tool_grows <= 0:
        raise ThermalError(f"no tool shrinks to nothing: {tool_expansion} per kelvin")
    return grown / tool_grows


def spring_in_deg(
    angle_deg: float,
    through_expansion: float,
    in_plane_expansion: float,
    cooled_k: float,
) -> float:
    """How far a corner closes on cooling, thermal share only (shrinkage adds)."""
    _finite(angle_deg=angle_deg, cooled_k=cooled_k)
    _finite(through_expansion=through_expansion)
    _finite(in_plane_expansion=in_plane_expansion)
    return angle_deg * (through_expansion - in_plane_expansion) * _MICRO * cooled_k


def _finite(**values: float) -> None:
    for name, value in values.items():
        if not math.isfinite(value):
            raise ThermalError(f"{name} must be a number, not {value}")
