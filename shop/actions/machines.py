"""Machines: the play of their axes by date, and how plugs were milled."""

from django.utils.translation import gettext as _

from shop import roles
from shop.ledger import Refused, perform
from shop.ledger.bodies import json_body
from shop.models import AxisPlay, Machine, MillingSetup, Person, Tool, ToolKind


def define_machine(
    *, by: Person, name: str, note: str = "", play_limit=None, machine=None
) -> Machine:
    """Add a machine or edit it. play_limit: a Measure in nm, or None."""
    roles.require(by, "define tooling")
    content = {"name": name, "note": note, "limit": play_limit and play_limit.text}
    with perform("machine/1", by=by, said=content):
        machine = machine or Machine()
        machine.name, machine.note = name, note
        machine.play_limit_nm = play_limit and play_limit.amount
        machine.play_limit_text = play_limit.text if play_limit else ""
        machine.full_clean()
        machine.save()
    return machine


def measure_play(
    *, by: Person, machine: Machine, axis: str, play, measured_on, note: str = ""
) -> AxisPlay:
    """Record the play of an axis. play: a Measure in nm."""
    roles.require(by, "work on tooling")
    content = json_body(
        machine=machine, axis=axis, play=play, measured_on=measured_on, note=note
    )
    with perform("axis_play/1", by=by, said=content) as act:
        return act.record(
            AxisPlay(
                machine=machine,
                axis=axis,
                measured_on=measured_on,
                play_nm=play.amount,
                play_text=play.text,
                note=note,
            )
        )


MEASURED = ("radius", "stepover", "stock", "sanding")


def record_milling(
    *,
    by: Person,
    tool: Tool,
    machine: Machine,
    milled_on,
    radius,
    stepover,
    stock=None,
    sanding=None,
    passes: int = 1,
    one_way: bool = False,
    slopes=(0, 15, 30, 45, 60),
    note: str = "",
) -> MillingSetup:
    """Record how a plug was cut. Lengths are Measures in nm, slopes whole degrees."""
    roles.require(by, "work on tooling")
    lengths = radius, stepover, stock, sanding
    measures = dict(zip(MEASURED, lengths, strict=True))
    content = json_body(
        tool=tool,
        machine=machine,
        milled_on=milled_on,
        passes=passes,
        one_way=one_way,
        slopes=slopes,
        note=note,
        **measures,
    )
    with perform("milling/1", by=by, said=content) as act:
        if tool.kind not in (ToolKind.PLUG, ToolKind.MOLD):
            raise Refused(_("Plugs and molds are milled."), field="tool")
        if stepover.amount > 2 * radius.amount:
            message = _("More than the diameter of the tool: the passes do not meet.")
            raise Refused(message, field="stepover")
        setup = MillingSetup(
            tool=tool,
            machine=machine,
            milled_on=milled_on,
            passes=passes,
            one_way=one_way,
            slopes=list(slopes),
            note=note,
        )
        for name, measure in measures.items():
            if measure:
                setattr(setup, f"{name}_nm", measure.amount)
                setattr(setup, f"{name}_text", measure.text)
        return act.record(setup)
