"""What corrections of its molds say of a plug, for the plug's page and theirs."""

from dataclasses import dataclass, field, replace
from datetime import datetime

from django.db.models import Q
from django.utils.translation import gettext as _

from qa.models import CorrectionEnding, Kind, PlugCorrection, ToolCorrection
from qa.numeric.tool.estimate import Advice, ToolValue
from qa.queries.molds import doubts
from qa.rules import mold_corrections, mold_kin
from qa.rules.mold_kin import Kin, PlugDone
from qa.wording import advice, findings, lengths
from shop.models import Tool
from shop.numeric.units import to_nm

RELATED = (
    "tool__plug",
    "revision__joint",
    "entry__by",
    "end__entry__by",
    "on_plug__entry__by",
)
MOST = 50
# What is filled in a female mold is relieved on what it is pulled from.
CONTRARY = {Advice.FILL: Advice.RELIEVE, Advice.RELIEVE: Advice.FILL}


@dataclass(frozen=True)
class OfPlug:
    """What one correction says of the plug: `lines` are what to do to the plug, `molds`
    those that show it, itself first. `others` are corrections by which it, or some of
    it, was done on the plug since: that is not in the lines."""

    row: ToolCorrection
    molds: list[str]
    lines: list[str]
    what: str
    places: str
    others: list[PlugDone] = field(default_factory=list)
    doubts: list[str] = field(default_factory=list)

    @property
    def done(self) -> PlugCorrection | None:
        return getattr(self.row, "on_plug", None)

    @property
    def open(self) -> bool:
        return not self.done and bool(self.lines)


@dataclass(frozen=True)
class OnRecord:
    """What was done on a plug, and when its molds were made."""

    done: list[PlugDone]
    made: dict[int, datetime]

    @classmethod
    def of(cls, plugs: set[int], rows: list[ToolCorrection]) -> "OnRecord":
        made = mold_kin.made_at({row.tool for row in rows})
        return cls(mold_kin.plug_done(plugs), made)


def of_plug(
    row: ToolCorrection, unit: str, record: OnRecord | None = None
) -> OfPlug | None:
    """None where it names nothing of the plug that the mold has, or was withdrawn
    before anything was done on it. row: with RELATED; record: of the plug, two
    statements where it is not given."""
    kin = mold_kin.from_record(row.content)
    named = set(mold_kin.named_of(row.content))
    on_plug = getattr(row, "on_plug", None)
    end = getattr(row, "end", None)
    if not named or not (on_plug or _may_be_done(row, kin, end)):
        return None
    others = []
    if not on_plug:
        record = record or OnRecord.of({row.tool.plug_id}, [row])
        made = record.made[row.tool_id]
        named, others = mold_kin.left_on_plug(row, record.done, made)
    labels = mold_corrections.labels_of(row)
    values = {
        kind: [
            _on_plug(value, of=(label, kind) in named)
            for label, value in zip(labels, own, strict=True)
        ]
        for kind, own in mold_corrections.values_of(row).items()
    }
    advised = advice.Values(**values)
    amounts = [abs(value.correction_mm or 0.0) for value in advised.values]
    summary = {
        "size": lengths.length(to_nm(max(amounts)), unit),
        "molds": ", ".join(_molds(row, kin)),
        "label": row.label,
    }
    where = [label for label in labels if {(label, k) for k in Kind.values} & named]
    return OfPlug(
        row=row,
        molds=_molds(row, kin),
        lines=advice.advice_lines(advised, labels, unit),
        what=_("Off by up to %(size)s as parts of %(molds)s fit (%(label)s)") % summary,
        places=findings.on_joint(row.revision.joint.number, where),
        others=others,
    )


def _may_be_done(row: ToolCorrection, kin: Kin, end) -> bool:
    """Whether the plug that it was told of is still the mold's, and it stands."""
    withdrawn = end is not None and end.how == CorrectionEnding.WITHDRAWN
    return kin.is_of(row.tool.plug) and not withdrawn


def _on_plug(value: ToolValue, *, of: bool) -> ToolValue:
    if not of or value.advice in (Advice.LEAVE, Advice.CANNOT_TELL):
        return ToolValue()
    return replace(value, advice=CONTRARY.get(value.advice, value.advice))


def _molds(row: ToolCorrection, kin: Kin) -> list[str]:
    alike = [mold.code for mold in kin.estimated_by(mold_kin.Relation.PLUG)]
    return list(dict.fromkeys([row.tool.code, *alike]))


def corrections_of_plug(plug: Tool, unit: str) -> list[OfPlug]:
    """What the newest corrections of its molds say of it, and those done on it; a
    constant number of statements."""
    mine = Q(tool__plug=plug) | Q(on_plug__repair__defect__tool=plug)
    rows = ToolCorrection.objects.filter(mine).select_related(*RELATED)
    rows = list(rows.order_by("-number")[:MOST])
    record = OnRecord.of({plug.pk}, rows)
    corrections = [
        correction
        for row in rows
        if (kin := mold_kin.from_record(row.content))
        and kin.is_of(plug)
        and (correction := of_plug(row, unit, record))
    ]
    off = doubts.of_corrections([correction.row for correction in corrections])
    return [
        replace(correction, doubts=off[correction.row.pk]) for correction in corrections
    ]
