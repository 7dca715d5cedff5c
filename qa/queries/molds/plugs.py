"""What corrections of its molds say of a plug, for the plug's page and theirs."""

from dataclasses import dataclass, replace

from django.utils.translation import gettext as _

from qa.models import Kind, PlugCorrection, ToolCorrection
from qa.numeric.tool.tell import Advice, ToolValue
from qa.rules import mold_corrections, mold_kin
from qa.rules.mold_kin import Kin
from qa.wording import advice, lengths
from shop.models import Tool
from shop.numeric.units import to_nm

RELATED = (
    "tool",
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
    those that show it, itself first."""

    row: ToolCorrection
    molds: list[str]
    lines: list[str]
    what: str
    places: str

    @property
    def done(self) -> PlugCorrection | None:
        return getattr(self.row, "on_plug", None)


def of_plug(row: ToolCorrection, unit: str) -> OfPlug | None:
    """None where it names nothing of a plug. row: with RELATED."""
    kin = mold_kin.from_record(row.content)
    named = set(kin.of_plug) if kin else set()
    if not named:
        return None
    labels = mold_corrections.labels_of(row)
    values = {
        kind: [
            _on_plug(value, of=(label, kind) in named)
            for label, value in zip(labels, own, strict=True)
        ]
        for kind, own in mold_corrections.values_of(row).items()
    }
    told = advice.Values(**values)
    amounts = [abs(value.correction_mm or 0.0) for value in told.values]
    said = {
        "size": lengths.length(to_nm(max(amounts)), unit),
        "molds": ", ".join(_molds(row, kin)),
        "label": row.label,
    }
    where = [label for label in labels if {(label, k) for k in Kind.values} & named]
    return OfPlug(
        row=row,
        molds=_molds(row, kin),
        lines=advice.advice_lines(told, labels, unit),
        what=_("Off by up to %(size)s as parts of %(molds)s fit (%(label)s)") % said,
        places=_("%(joint)s, stations %(names)s")
        % {"joint": row.revision.joint.number, "names": ", ".join(where)},
    )


def _on_plug(value: ToolValue, *, of: bool) -> ToolValue:
    if not of or value.advice in (Advice.LEAVE, Advice.CANNOT_TELL):
        return ToolValue()
    return replace(value, advice=CONTRARY.get(value.advice, value.advice))


def _molds(row: ToolCorrection, kin: Kin) -> list[str]:
    alike = [one.code for one in kin.told(mold_kin.Relation.PLUG)]
    return list(dict.fromkeys([row.tool.code, *alike]))


def corrections_of_plug(plug: Tool, unit: str) -> list[OfPlug]:
    """What the newest corrections of its molds say of it; one statement."""
    rows = ToolCorrection.objects.filter(tool__plug=plug).select_related(*RELATED)
    found = [of_plug(row, unit) for row in rows.order_by("-number")[:MOST]]
    return [told for told in found if told]
