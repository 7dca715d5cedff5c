"""Whether a part can be fitted at a joint: where it sits, which hand and design it is.

What is physically impossible is refused: a serial that sits elsewhere, a place that
another serial holds, the other hand. Another design, and a surround that was taken out,
ask for a reason, which the fit-up keeps (shop.rules.belonging).
"""

from django.utils.translation import gettext as _

from qa.models import FitUp, Joint
from shop.ledger import Refused
from shop.models import Airframe, Part, Placement, PlacementAct
from shop.models.prepared_statements import Prepared, Slot, Slots
from shop.rules import belonging
from shop.rules.belonging import Belonging


def _sits(**where) -> Prepared:
    return Prepared(
        lambda: Placement.objects.filter(removed_at=None, **where).select_related(
            "part", "airframe", "position"
        )
    )


SITS_HERE = _sits(airframe=Slot("airframe"), position__in=Slots("positions"))
SITS = _sits(part__in=Slots("parts"))


def seat(
    airframe: Airframe, joint: Joint, part: Part, surround: Part | None
) -> tuple[Part | None, dict[str, str]]:
    """Return the surround, read from what sits there where it is not stated, and what
    is to be asked {code: words}. Refused as said above."""
    serials = [serial.pk for serial in (part, surround) if serial]
    places = [joint.position_id, joint.surround_id]
    here = SITS_HERE.rows(airframe=airframe.pk, positions=places)
    sits = {placement.position_id: placement for placement in here}
    for placement in SITS.rows(parts=serials):
        _refuse_elsewhere(
            placement, airframe, joint, fitted=placement.part_id == part.pk
        )
    _refuse_taken(sits.get(joint.position_id), part, "part")
    if surround:
        _refuse_taken(sits.get(joint.surround_id), surround, "surround_part")
    elif joint.surround_id in sits:
        surround = sits[joint.surround_id].part
    known = _known(joint)
    belonging.refuse_other_hand(part, joint.position, known)
    questions = belonging.another_design(part, joint.position, known)
    if surround is None and _was_taken_out(airframe, joint):
        question = _("%(where)s was taken out of %(on)s, and no surround is stated.")
        values = {"where": joint.surround.path, "on": airframe.serial}
        questions[belonging.SURROUND] = question % values
    return surround, questions


def _refuse_elsewhere(
    placement: Placement, airframe, joint: Joint, *, fitted: bool
) -> None:
    away = placement.airframe_id != airframe.pk
    if away or (fitted and placement.position_id != joint.position_id):
        words = _("%(part)s sits in %(on)s, %(where)s. Take it out there first.")
        values = {
            "part": placement.part.serial,
            "on": placement.airframe.serial,
            "where": placement.position.path,
        }
        field = "part" if fitted else "surround_part"
        raise Refused(words % values, field=field, code="elsewhere")


def _refuse_taken(sits: Placement | None, part: Part, field: str) -> None:
    if sits and sits.part_id != part.pk:
        words = _("%(other)s sits in %(where)s of %(on)s. Take it out first.")
        values = {
            "other": sits.part.serial,
            "where": sits.position.path,
            "on": sits.airframe.serial,
        }
        raise Refused(words % values, field=field, code="elsewhere")


def _known(joint: Joint) -> Belonging:
    """What belongs at the joint: as its position says, else what was fitted before."""
    known = belonging.belonging([joint.position])[joint.position_id]
    if not known.numbers:
        before = FitUp.objects.filter(joint=joint, questions="")
        rows = before.values_list("part__design__number", "part__design__hand")
        fitted = set(rows.distinct())
        known.numbers = {number for number, _hand in fitted}
        known.hands = known.hands or {hand for _number, hand in fitted}
    return known


def _was_taken_out(airframe: Airframe, joint: Joint) -> bool:
    acts = PlacementAct.objects.filter(airframe=airframe, position=joint.surround_id)
    return acts.exists()
