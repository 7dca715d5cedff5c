"""What other molds show where one is off: then it is the plug's, or the design's.

Of the plug it is only where every mold of it of which something can be told shows it. A
mold that was corrected is told by what was pulled before: that is as the plug made it.
Where the plug itself was corrected, molds made before say nothing of those made after.
"""

from dataclasses import dataclass, replace
from datetime import datetime
from enum import StrEnum

from qa.models import CorrectionEnd, CorrectionEnding, Kind, PlugCorrection
from qa.numeric.tool.tell import ToolValue
from qa.rules import mold_told
from qa.rules.mold_fits import MoldFits
from qa.rules.mold_told import Choice, Told
from shop.models import Tool, ToolKind

Place = tuple[str, str]  # label of the station, kind
Loaded = dict[tuple[int, int, int], MoldFits]


class Relation(StrEnum):
    PLUG = "plug"
    HAND = "hand"


@dataclass(frozen=True)
class Relative:
    """What one other mold shows where the first is off: the same for certain, or not to
    be told from it; otherwise everywhere else."""

    code: str
    relation: str
    told: bool
    alike: tuple[Place, ...] = ()
    open: tuple[Place, ...] = ()
    # The plug was corrected here between the two: nothing is told by it.
    other_state: bool = False


@dataclass(frozen=True)
class Kin:
    """The places where a mold is off beyond its bounds, and what others show there.
    `plug` is the code of its plug, "" where none is on record."""

    plug: str
    off: tuple[Place, ...]
    each: tuple[Relative, ...]

    def told(self, relation: str) -> list[Relative]:
        return [one for one in self.each if one.told and one.relation == relation]

    @property
    def of_plug(self) -> list[Place]:
        """Where all of the plug's molds that can be told, two at least, show it."""
        told = self.told(Relation.PLUG)
        return [
            place
            for place in self.off
            if told and all(place in one.alike for one in told)
        ]


def relatives(tool: Tool) -> list[Tool]:
    """Molds that may show the same: of the same plug, and of the other hand."""
    rows = Tool.objects.filter(kind=ToolKind.MOLD).exclude(pk=tool.pk)
    of_plug = list(rows.filter(plug=tool.plug_id)) if tool.plug_id else []
    other = (
        tool.mirror if tool.mirror_id and tool.mirror.kind == ToolKind.MOLD else None
    )
    return of_plug + ([other] if other and other not in of_plug else [])


def kin_of(
    told: Told,
    loaded: Loaded,
    others: list[Tool],
    corrected: "Corrected",
) -> Kin:
    """What others show at this joint, or at the one that mirrors it. loaded: the first
    fits of all of them, with others from `relatives`, `corrected` from `corrected_of`.
    """
    tool, joint = told.fits.tool, told.fits.joint
    mine = _values(told)
    off = {place: value for place, value in mine.items() if _off(value)}
    usual = Choice(sd_nm=told.choice.sd_nm, worth_nm=told.choice.worth_nm)
    each = []
    for other in loaded.values():
        at = other.joint.pk
        if other.tool not in others or at not in (joint.pk, joint.mirror_id):
            continue
        same = tool.plug_id is not None and tool.plug_id == other.tool.plug_id
        if same and corrected.plug_state(other) != corrected.plug_state(told.fits):
            code = other.tool.code
            each.append(Relative(code, Relation.PLUG, told=False, other_state=True))
            continue
        last = corrected.first.get((other.tool.pk, at))
        as_made = [f for f in other.fits if last is None or f.pull.number <= last]
        found = mold_told.tell(replace(other, fits=as_made), usual)
        relation = Relation.PLUG if same else Relation.HAND
        each.append(_relative(other.tool.code, relation, found, off))
    there = {one.code for one in each}
    # A mold of the plug of which nothing was read here yet may show it or not.
    each += [
        Relative(other.code, Relation.PLUG, told=False)
        for other in others
        if tool.plug_id and other.plug_id == tool.plug_id and other.code not in there
    ]
    return Kin(tool.plug.code if tool.plug_id else "", tuple(off), tuple(each))


@dataclass(frozen=True)
class Corrected:
    """When molds and their plug were corrected: `first` is the last pull before its
    first correction, by mold and joint; `plugs` the times, by plug and joint."""

    first: dict[tuple[int, int], int]
    plugs: dict[tuple[int, int], list[datetime]]

    def plug_state(self, fits: MoldFits) -> int:
        """How often its plug was corrected here before a mold was made of it: before
        it is said to be made, and before its first pull that was fitted."""
        times = self.plugs.get((fits.tool.plug_id, fits.joint.pk), ())
        made = min(fits.tool.made_at, *(fit.pull.started_at for fit in fits.fits))
        return sum(time < made for time in times)


def corrected_of(tool: Tool, others: list[Tool]) -> Corrected:
    """Two statements."""
    done = CorrectionEnd.objects.filter(
        correction__tool__in=others, how=CorrectionEnding.DONE
    )
    columns = ("correction__tool", "correction__revision__joint", "last_pull")
    first: dict[tuple[int, int], int] = {}
    for mold, joint, last in done.values_list(*columns):
        first[mold, joint] = min(last, first.get((mold, joint), last))
    plugs: dict[tuple[int, int], list[datetime]] = {}
    if tool.plug_id:
        rows = PlugCorrection.objects.filter(repair__defect__tool=tool.plug_id)
        columns = ("correction__revision__joint", "entry__received_at")
        for joint, at in rows.values_list(*columns):
            plugs.setdefault((tool.plug_id, joint), []).append(at)
    return Corrected(first, plugs)


def _values(told: Told) -> dict[Place, ToolValue]:
    labels = [station.label for station in told.fits.seam.stations]
    return {
        (label, str(kind)): value
        for kind in Kind.values
        for label, value in zip(labels, getattr(told.report, kind), strict=True)
    }


def _relative(code: str, relation: str, told: Told, off) -> Relative:
    if not told.report.anything:
        return Relative(code, relation, told=False)
    theirs = _values(told)
    alike, not_told = [], []
    for place, mine in off.items():
        value = theirs.get(place)
        if value is None or value.low_mm is None:
            not_told.append(place)
        elif mine.low_mm <= value.high_mm and value.low_mm <= mine.high_mm:
            same = _same_way(mine, value)
            (alike if same else not_told).append(place)
        elif value.high_mm > 0 if mine.low_mm > 0 else value.low_mm < 0:
            # It may be off the same way by another amount.
            not_told.append(place)
    return Relative(code, relation, True, tuple(alike), tuple(not_told))


def _same_way(mine: ToolValue, value: ToolValue) -> bool:
    return _off(value) and (value.low_mm > 0) == (mine.low_mm > 0)


def _off(value: ToolValue) -> bool:
    """Beyond its bounds."""
    return value.low_mm is not None and (value.low_mm > 0 or value.high_mm < 0)


def kept(kin: Kin) -> dict:
    """As a record keeps it."""
    return {
        "plug": kin.plug,
        "off": [list(place) for place in kin.off],
        "each": [
            {
                "mold": one.code,
                "relation": str(one.relation),
                "told": one.told,
                "alike": [list(place) for place in one.alike],
                "open": [list(place) for place in one.open],
                "other_state": one.other_state,
            }
            for one in kin.each
        ],
    }


def from_record(content: dict) -> Kin | None:
    """None of a record that was taken before it was kept."""
    if "kin" not in content:
        return None
    found = content["kin"]
    return Kin(
        found["plug"],
        _places(found["off"]),
        tuple(
            Relative(
                one["mold"],
                Relation(one["relation"]),
                one["told"],
                _places(one["alike"]),
                _places(one["open"]),
                one.get("other_state", False),
            )
            for one in found["each"]
        ),
    )


def _places(rows: list[list[str]]) -> tuple[Place, ...]:
    return tuple((label, kind) for label, kind in rows)
