"""A capability in texts: indices, facts, notes and why nothing is told."""

from dataclasses import dataclass, field

from django.utils.translation import gettext as _

from qa.numeric.measuring.capability import Capability
from qa.wording import lengths
from qa.wording.measuring import remark, remarks, share

INDICES = ("cp", "cpk", "pp", "ppk")


@dataclass(frozen=True)
class Index:
    name: str
    value: str
    bounds: str


@dataclass(frozen=True)
class CapabilityFigures:
    """What a page shows of one capability."""

    indices: list[Index] = field(default_factory=list)
    facts: list[tuple[str, str]] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    capability_why: str = ""


def figures_of(estimate: Capability, unit: str, places: int) -> CapabilityFigures:
    """In texts; places: decimals of a mean."""
    return CapabilityFigures(
        indices_of(estimate),
        facts_of(estimate, unit, places),
        [f"{note}." for note in remarks(estimate.notes)],
        remark(estimate.why) or "",
    )


def index_text(value: float) -> str:
    return lengths.true_minus(f"{value:z.2f}")


def indices_of(estimate: Capability) -> list[Index]:
    indices = []
    for name in INDICES:
        value = getattr(estimate, name)
        bounds = getattr(estimate, f"{name}_interval")
        if value is not None:
            between = " to ".join(map(index_text, bounds or ()))
            indices.append(Index(name.capitalize(), index_text(value), between))
    return indices


def facts_of(result: Capability, unit: str, places: int) -> list[tuple[str, str]]:
    facts = []
    for name, value in (
        (_("Mean"), result.mean),
        (_("Standard deviation, of all"), result.sd_overall),
        (_("Standard deviation, of neighbors"), result.sd_within),
    ):
        if value is not None:
            words = f"{value:z.{places}f} {unit}".strip()
            facts.append((name, lengths.true_minus(words)))
    for name, value in (
        (_("Expected below"), result.below),
        (_("Expected above"), result.above),
    ):
        if value is not None:
            facts.append((name, share(value)))
    if result.normality and result.normality.p is not None:
        normal = _("taken as normal") if result.method == "normal" else _("not normal")
        name = f"Anderson-Darling, p {result.normality.p:.2f}: {normal}"
        facts.append((_("Shape"), name))
    return facts
