"""What other molds show at the same places: then it is the plug's, or the design's."""

from django.utils.translation import gettext as _

from qa.models import Kind
from qa.numeric.tool.tell import ToolValue
from qa.rules import mold_told
from qa.rules.mold_fits import MoldFits
from qa.rules.mold_told import Choice, Told
from qa.wording import tools
from shop.models import Tool, ToolKind

Loaded = dict[tuple[int, int, int], MoldFits]


def relatives(tool: Tool) -> list[Tool]:
    """Molds that may show the same: of the same plug, and of the other hand."""
    rows = Tool.objects.filter(kind=ToolKind.MOLD).exclude(pk=tool.pk)
    of_plug = list(rows.filter(plug=tool.plug_id)) if tool.plug_id else []
    other = (
        tool.mirror if tool.mirror_id and tool.mirror.kind == ToolKind.MOLD else None
    )
    return of_plug + ([other] if other and other not in of_plug else [])


def _kin_told(told: Told, loaded: Loaded, kin: list[Tool]) -> list[Told]:
    """What other molds show at this joint, or at the one that mirrors it."""
    joint, asked = told.fits.joint, told.choice
    usual = Choice(sd_nm=asked.sd_nm, worth_nm=asked.worth_nm)
    return [
        mold_told.tell(other, usual)
        for other in loaded.values()
        if other.tool in kin and other.joint.pk in (joint.pk, joint.mirror_id)
    ]


def shared(
    tool: Tool, told: Told, loaded: Loaded, kin: list[Tool], labels: list[str]
) -> list[str]:
    """What other molds show alike, and what follows."""
    sentences = []
    others = _kin_told(told, loaded, kin)
    mine = {(label, kind): value for kind in Kind.values for label, value in
            zip(labels, getattr(told.report, kind), strict=True)}  # fmt: skip
    for other in others:
        names = [station.label for station in other.fits.seam.stations]
        alike: dict[str, list[str]] = {}
        for kind in Kind.values:
            for label, value in zip(names, getattr(other.report, kind), strict=True):
                here = mine.get((label, kind))
                if here and _alike(here, value):
                    alike.setdefault(kind, []).append(label)
        code = other.fits.tool.code
        if alike:
            where = _(" and ").join(
                f"{tools.KINDS[kind]} at {', '.join(rows)}"
                for kind, rows in alike.items()
            )
            same_plug = tool.plug_id and other.fits.tool.plug_id == tool.plug_id
            sentence = tools.SAME_PLUG if same_plug else tools.SAME_HAND
            plug = tool.plug.code if tool.plug_id else _("the plug")
            sentences.append(sentence.format(code=code, where=where, plug=plug))
        elif other.report.anything:
            sentences.append(tools.NOT_ALIKE.format(code=code))
        else:
            sentences.append(tools.KIN_UNTOLD.format(code=code))
    if not others:
        sentences.append(tools.NO_KIN)
    return sentences


def _alike(tool_value: ToolValue, other: ToolValue) -> bool:
    """Both off for certain, the same way, and by as much as bounds allow."""
    if tool_value.low_mm is None or other.low_mm is None:
        return False
    both_up = tool_value.low_mm > 0 and other.low_mm > 0
    both_down = tool_value.high_mm < 0 and other.high_mm < 0
    overlap = tool_value.low_mm <= other.high_mm and other.low_mm <= tool_value.high_mm
    return (both_up or both_down) and overlap
