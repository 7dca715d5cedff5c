"""What other molds show where one is off: then it is the plug's, or the design's.

Of the plug it is only where every mold of it of which something can be told shows it. A
mold that was corrected is told by what was pulled before: that is as the plug made it.
Where the plug itself was corrected, molds made before say nothing of those made after.
"""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from enum import StrEnum

from django.db.models import Min

from qa.models import (
    CorrectionEnd,
    CorrectionEnding,
    Joint,
    Kind,
    PlugCorrection,
    ToolCorrection,
)
from qa.numeric.tool.estimate import Advice, ToolValue
from qa.rules import mold_assessment
from qa.rules.measuring_days import day_of, midnight
from qa.rules.mold_assessment import Choice, MoldAssessment
from qa.rules.mold_fits import MoldFits
from shop.models import Pull, Tool, ToolKind

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
    estimated: bool
    alike: tuple[Place, ...] = ()
    open: tuple[Place, ...] = ()
    # The plug was corrected here between the two: nothing is told by it.
    other_state: bool = False
    # The fit-ups by which it is told, and their checks, by their entries.
    by: tuple[str, ...] = ()
    checks: tuple[str, ...] = ()


@dataclass(frozen=True)
class Kin:
    """The places where a mold is off beyond its bounds (and beyond what the gauge that
    read all or most of it there may be), and what others show there.
    `plug` is the code of its plug then, "" where none is on record, `key` its key (None
    in a record that did not keep it); `done` are corrections of that plug since the
    mold was made: what they are called, and where."""

    plug: str
    off: tuple[Place, ...]
    each: tuple[Relative, ...]
    done: tuple[tuple[str, tuple[Place, ...]], ...] = ()
    key: int | None = None

    def is_of(self, plug: Tool | None) -> bool:
        """Whether it is told of this plug, whatever that is called by now."""
        if plug is None or not self.plug:
            return False
        return self.plug == plug.code if self.key is None else self.key == plug.pk

    def estimated_by(self, relation: str) -> list[Relative]:
        return [
            mold for mold in self.each if mold.estimated and mold.relation == relation
        ]

    @property
    def of_plug(self) -> list[Place]:
        """Where it is the plug's and the plug was not corrected since."""
        done = {place for _label, places in self.done for place in places}
        return [place for place in self.shown_by_all if place not in done]

    @property
    def shown_by_all(self) -> list[Place]:
        """Where all of the plug's molds that can be told, two at least, show it."""
        molds = self.estimated_by(Relation.PLUG)
        return [
            place
            for place in self.off
            if molds and all(place in mold.alike for mold in molds)
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
    assessment: MoldAssessment,
    loaded: Loaded,
    others: list[Tool],
    corrected: "Corrected",
) -> Kin:
    """What others show at this joint, or at the one that mirrors it. loaded: the first
    fits of all of them, with others from `relatives`, `corrected` from `corrected_of`.
    """
    tool, joint = assessment.fits.tool, assessment.fits.joint
    mine = _values(assessment)
    off = {place: value for place, value in mine.items() if value.beyond}
    usual = Choice(sd_nm=assessment.choice.sd_nm, worth_nm=assessment.choice.worth_nm)
    each = []
    for other in loaded.values():
        at = other.joint.pk
        if other.tool not in others or at not in (joint.pk, joint.mirror_id):
            continue
        same = tool.plug_id is not None and tool.plug_id == other.tool.plug_id
        if same and corrected.plug_state(other) != corrected.plug_state(
            assessment.fits
        ):
            code = other.tool.code
            each.append(
                Relative(code, Relation.PLUG, estimated=False, other_state=True)
            )
            continue
        last = corrected.first.get((other.tool.pk, at))
        as_made = [f for f in other.fits if last is None or f.pull.number <= last]
        report = mold_assessment.assess(replace(other, fits=as_made), usual)
        relation = Relation.PLUG if same else Relation.HAND
        each.append(_relative(other.tool.code, relation, report, off))
    there = {mold.code for mold in each}
    # A mold of the plug of which nothing was read here yet may show it or not.
    each += [
        Relative(other.code, Relation.PLUG, estimated=False)
        for other in others
        if tool.plug_id and other.plug_id == tool.plug_id and other.code not in there
    ]
    done = tuple(
        (correction.label, correction.places)
        for correction in corrected.since_made(assessment.fits)
    )
    plug = tool.plug.code if tool.plug_id else ""
    return Kin(plug, tuple(off), tuple(each), done, tool.plug_id)


@dataclass(frozen=True)
class PlugDone:
    """A correction of a plug on record: where it is named, and the joint that it is of,
    or the one that mirrors it."""

    row: PlugCorrection
    places: tuple[Place, ...]

    @property
    def at(self) -> datetime:
        """When it was done at the latest: at the end of its day, or on the day of its
        record by then. What was made on that day before it was recorded was made
        before."""
        recorded, day = self.row.entry.received_at, self.row.done_on
        return min(recorded, midnight(day + timedelta(days=1))) if day else recorded

    @property
    def day(self) -> date:
        return self.row.done_on or day_of(self.row.entry.received_at)

    @property
    def label(self) -> str:
        return self.row.correction.label

    @property
    def joint(self) -> int:
        return either(self.row.correction.revision.joint)


def either(joint: Joint) -> int:
    """One key for a joint and the one that mirrors it: a plug serves both."""
    return min(joint.pk, joint.mirror_id or joint.pk)


@dataclass(frozen=True)
class Corrected:
    """When molds and their plug were corrected: `first` is the last pull before its
    first correction, by mold and joint; `plug` what was done on the plug."""

    first: dict[tuple[int, int], int]
    plug: list[PlugDone]

    def plug_state(self, fits: MoldFits) -> int:
        """How often its plug was corrected here before a mold was made of it."""
        made = _made(fits)
        return sum(correction.at < made for correction in self._here(fits))

    def since_made(self, fits: MoldFits) -> list[PlugDone]:
        """What was done on its plug here after a mold was made of it."""
        made = _made(fits)
        return [correction for correction in self._here(fits) if correction.at >= made]

    def _here(self, fits: MoldFits) -> list[PlugDone]:
        return [
            correction
            for correction in self.plug
            if correction.joint == either(fits.joint)
        ]


def _made(fits: MoldFits) -> datetime:
    """Before it is said to be made, and before its first pull that was fitted."""
    return min(fits.tool.made_at, *(fit.pull.started_at for fit in fits.fits))


def plug_done(plugs: set[int]) -> list[PlugDone]:
    """What was done on these plugs, the oldest first; one statement, if any."""
    rows = PlugCorrection.objects.filter(repair__defect__tool__in=plugs)
    related = rows.select_related(
        "correction__revision__joint", "entry__by", "repair__defect"
    )
    return [
        PlugDone(row, tuple(named_of(row.correction.content)))
        for row in (related.order_by("pk") if plugs else ())
    ]


def made_at(molds: Iterable[Tool]) -> dict[int, datetime]:
    """Before each is said to be made, and before its first pull; one statement."""
    made = {mold.pk: mold.made_at for mold in molds}
    rows = Pull.objects.filter(tool__in=made).order_by().values_list("tool")
    first = dict(rows.annotate(Min("started_at")))
    return {key: min(at, first.get(key, at)) for key, at in made.items()}


def left_on_plug(
    row: ToolCorrection, done: list[PlugDone], made: datetime
) -> tuple[set[Place], list[PlugDone]]:
    """(where a record says that something is to be done on the plug, less where it was
    done by others since the mold was made; those others). done: of its plug; made:
    as `made_at` has it."""
    left, others = set(named_of(row.content)), []
    joint = either(row.revision.joint)
    for correction in done:
        other = correction.row.correction_id != row.pk and correction.joint == joint
        if other and correction.at >= made and left & set(correction.places):
            left -= set(correction.places)
            others.append(correction)
    return left, others


def named_of(content: dict) -> list[Place]:
    """Where the record of a correction says that something is to be done on the plug:
    where it is the plug's, and worth it."""
    kin = from_record(content)
    if kin is None:
        return []
    does = {
        (station["label"], str(kind))
        for station in content["stations"]
        for kind in Kind.values
        if station[kind]["advice"] not in (Advice.LEAVE, Advice.CANNOT_TELL)
    }
    return [place for place in kin.of_plug if place in does]


def corrected_of(tool: Tool, others: list[Tool]) -> Corrected:
    """Two statements."""
    done = CorrectionEnd.objects.filter(
        correction__tool__in=others, how=CorrectionEnding.DONE
    )
    columns = ("correction__tool", "correction__revision__joint", "last_pull")
    first: dict[tuple[int, int], int] = {}
    for mold, joint, last in done.values_list(*columns):
        first[mold, joint] = min(last, first.get((mold, joint), last))
    return Corrected(first, plug_done({tool.plug_id} if tool.plug_id else set()))


def _values(assessment: MoldAssessment) -> dict[Place, ToolValue]:
    labels = [station.label for station in assessment.fits.seam.stations]
    return {
        (label, str(kind)): value
        for kind in Kind.values
        for label, value in zip(labels, getattr(assessment.report, kind), strict=True)
    }


def _relative(code: str, relation: str, assessment: MoldAssessment, off) -> Relative:
    if not assessment.report.anything:
        return Relative(code, relation, estimated=False)
    theirs = _values(assessment)
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
    return Relative(
        code,
        relation,
        True,
        tuple(alike),
        tuple(not_told),
        by=tuple(str(fit.fit_up.entry_id) for fit in assessment.used),
        checks=tuple(str(c.entry_id) for fit in assessment.used for c in fit.checks),
    )


def _same_way(mine: ToolValue, value: ToolValue) -> bool:
    return value.beyond and (value.low_mm > 0) == (mine.low_mm > 0)


def kept(kin: Kin) -> dict:
    """As a record keeps it."""
    return {
        "plug": kin.plug,
        "key": kin.key,
        "off": [list(place) for place in kin.off],
        "done": [[label, [list(p) for p in places]] for label, places in kin.done],
        "each": [
            {
                "mold": mold.code,
                "relation": str(mold.relation),
                "told": mold.estimated,
                "alike": [list(place) for place in mold.alike],
                "open": [list(place) for place in mold.open],
                "other_state": mold.other_state,
                "by": list(mold.by),
                "checks": list(mold.checks),
            }
            for mold in kin.each
        ],
    }


def from_record(content: dict) -> Kin | None:
    """None of a record that was taken before it was kept."""
    if "kin" not in content:
        return None
    kin = content["kin"]
    return Kin(
        kin["plug"],
        _places(kin["off"]),
        tuple(
            Relative(
                row["mold"],
                Relation(row["relation"]),
                row["told"],
                _places(row["alike"]),
                _places(row["open"]),
                row.get("other_state", False),
                tuple(row.get("by", ())),
                tuple(row.get("checks", ())),
            )
            for row in kin["each"]
        ),
        tuple((label, _places(places)) for label, places in kin.get("done", ())),
        kin.get("key"),
    )


def _places(rows: list[list[str]]) -> tuple[Place, ...]:
    return tuple((label, kind) for label, kind in rows)
