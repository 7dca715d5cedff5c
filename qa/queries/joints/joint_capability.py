"""What a whole joint is capable of over its parts, and each of its places in a line."""

from dataclasses import dataclass

from django.utils.translation import gettext as _

from qa.models import Kind, Verdict
from qa.numeric.measuring.capability import Capability, capability
from qa.numeric.measuring.joint_capability import (
    JointCapability,
    Worst,
    joint_capability,
    outside,
    place_level,
)
from qa.queries.capability_figures import index_text
from qa.rules import over_parts as rules
from qa.rules.over_parts import OverParts
from qa.wording.measuring import remark, share

KINDS = {Kind.GAP: _("gap"), Kind.FLUSH: _("flushness")}
LEAST_TOLD = 0.0001  # of a share
Place = tuple[int, str]


@dataclass(frozen=True)
class WorstRow:
    """An index of the joint: that of its worst place."""

    name: str
    value: str
    place: str
    bounds: str


@dataclass(frozen=True)
class PlaceFigures:
    """One gap or flushness in a line; "" where it cannot be told."""

    ppk: str = ""
    outside: str = ""
    worst: bool = False


@dataclass(frozen=True)
class JointFigures:
    """`facts` by name; `why` says why nothing is told of the joint."""

    rows: list[WorstRow]
    facts: list[tuple[str, str]]
    notes: list[str]
    why: str
    places: dict[Place, PlaceFigures]

    def of(self, row: int, kind: str) -> PlaceFigures:
        return self.places.get((row, kind), PlaceFigures())


def joint_figures(over: OverParts, unit: str) -> JointFigures:
    """From what was loaded: no statement."""
    limited = [
        (row, kind)
        for row in range(len(over.seam.stations))
        for kind in Kind.values
        if over.limits(row, kind) != (None, None)
    ]
    level = place_level(len(limited))
    each = [_capability(over, *place, unit, level) for place in limited]
    joint = joint_capability(each)
    names = [_name(over, place) for place in limited]
    worst = joint.worst.get("ppk")
    return JointFigures(
        rows=[
            _worst(name, worst_place, names[worst_place.place])
            for name, worst_place in joint.worst.items()
        ],
        facts=_facts(over, joint) if joint.estimated else [],
        notes=_notes(joint, max(capability.n for capability in each))
        if joint.estimated
        else [],
        why="" if joint.estimated else _why_not(each),
        places={
            place: _place(capability, worst is not None and at == worst.place)
            for at, (place, capability) in enumerate(zip(limited, each, strict=True))
        },
    )


def _capability(over: OverParts, row: int, kind: str, unit: str, level: float):
    low, high = (
        None if nm is None else rules.in_unit(nm, unit) for nm in over.limits(row, kind)
    )
    values = [rules.in_unit(nm, unit) for _one, nm in over.series(row, kind)]
    return capability(values, low, high, level=level)


def _name(over: OverParts, place: Place) -> str:
    row, kind = place
    return f"{over.seam.stations[row].label}, {KINDS[kind]}"


def _worst(name: str, worst: Worst, place: str) -> WorstRow:
    bounds = ""
    if worst.interval:
        low, high = worst.interval
        ends = {"low": index_text(low), "high": index_text(high)}
        bounds = _("%(low)s to %(high)s") % ends
    return WorstRow(name.capitalize(), index_text(worst.value), place, bounds)


def _facts(over: OverParts, joint: JointCapability) -> list[tuple[str, str]]:
    failed = sum(
        Verdict.DOES_NOT_CONFORM in reading.verdicts.values() for reading in over.reads
    )
    alone = [(_("If places vary each by itself"), share(joint.independent or 0))]
    return [
        *_expected(joint),
        *(alone if joint.independent is not None else ()),
        (
            _("Parts seen with something that does not conform"),
            _("%(count)s of %(all)s") % {"count": failed, "all": len(over.reads)},
        ),
        (
            _("Places told"),
            _("%(told)s of %(all)s, %(normal)s as normal, %(other)s by quantiles")
            % {
                "told": joint.estimated,
                "all": joint.places,
                "normal": joint.normal,
                "other": joint.estimated - joint.normal,
            },
        ),
    ]


def _expected(joint: JointCapability) -> list[tuple[str, str]]:
    """The expected share, without the ends that are less than one tells in percent."""
    enough = joint.least >= LEAST_TOLD
    if joint.most is None and not enough:
        return []
    words = _("%(most)s")
    if enough:
        words = _("at least %(least)s")
        if joint.most is not None:
            words = _("%(least)s to %(most)s")
    elif joint.most >= LEAST_TOLD:
        words = _("at most %(most)s")
    ends = {"least": share(joint.least), "most": share(joint.most or 0)}
    return [(_("Parts expected with something outside"), words % ends)]


def _notes(joint: JointCapability, parts: int) -> list[str]:
    notes = [
        _("An index of the joint is that of its worst place; its 95 %% bounds hold "
          "with those of all %(count)s places together (Bonferroni).")
        % {"count": joint.places},
        _("The share is at least that of the worst place and at most the sum of all, "
          "however places hang together; each by its own distribution. Parts that sit "
          "differently make places vary together."),
        _("Its ends are estimates from %(count)s parts, each by the curve of its "
          "place, and not bounds: the next parts may well lie outside of them.")
        % {"count": parts},
    ]  # fmt: skip
    if joint.estimated < joint.places:
        notes.append(
            _("%(count)s places cannot be told, as their own pages say: the joint may "
              "be worse than the worst of the others; no most is told of the share.")
            % {"count": joint.places - joint.estimated}
        )  # fmt: skip
    if joint.unseen:
        notes.append(
            _("On %(count)s sides of places, beyond all values, the share is less than "
              "can be told: no most is told of all of them.") % {"count": joint.unseen}
        )  # fmt: skip
    if joint.seen:
        notes.append(
            _("On %(count)s sides of places more values lie outside than their curve "
              "has there: as many count as were seen, and no most is told.")
            % {"count": joint.seen}
        )  # fmt: skip
    if any(worst.interval is None for worst in joint.worst.values()):
        notes.append(
            _("An index without bounds is one that some place has no bounds of: it is "
              "judged by quantiles, or cannot be told.")
        )  # fmt: skip
    return notes


def _why_not(each: list[Capability]) -> str:
    if not each:
        return _("there are no limits to hold it against")
    most = max(each, key=lambda capability: capability.n)
    return remark(most.why) or ""


def _place(estimate: Capability, worst: bool) -> PlaceFigures:
    if not estimate.method:
        return PlaceFigures()
    out = outside(estimate)
    words = share(out.share)
    if not out.whole:
        words = f"≥ {words}" if out.share else f"< {share(out.most)}"
    return PlaceFigures(index_text(estimate.ppk), words, worst)
