"""What other molds show at the same places, as sentences."""

from django.utils.translation import gettext as _

from qa.models import Kind
from qa.rules.mold_kin import Kin, Place, Relation, Relative
from qa.wording import kin as words
from qa.wording.tools import KINDS


def sentences(kin: Kin) -> list[str]:
    """What other molds show alike, and what follows."""
    if not kin.each:
        return [words.NO_KIN]
    known = [mold for mold in kin.each if mold.estimated]
    lines = [*of_plug(kin), *_of_hand(kin)] if kin.off else []
    only = [
        place
        for place in kin.off
        if known and not any(place in (*mold.alike, *mold.open) for mold in known)
    ]
    unsure = [
        place
        for place in kin.off
        if any(place in mold.open for mold in known)
        and not any(place in mold.alike for mold in known)
    ]
    if only:
        # The other hand says nothing of the plug.
        form = words.ONLY_THIS if kin.estimated_by(Relation.PLUG) else words.NOT_DESIGN
        lines.append(form.format(codes=_codes(known), where=_where(only)))
    if unsure:
        lines.append(words.KIN_UNSURE.format(where=_where(unsure)))
    untold = [mold for mold in kin.each if not mold.estimated]
    if codes := _codes([mold for mold in untold if mold.other_state]):
        lines.append(words.OTHER_STATE.format(codes=codes, plug=kin.plug))
    if codes := _codes([mold for mold in untold if not mold.other_state]):
        lines.append(words.KIN_UNTOLD.format(codes=codes))
    return lines if known else [*lines, words.WITH_THE_MOLD]


def of_plug(kin: Kin) -> list[str]:
    """Where it is the plug's, and where only some of its molds show it."""
    known, own = kin.estimated_by(Relation.PLUG), kin.of_plug
    lines = []
    if own:
        form = words.SAME_PLUG if len(known) == 1 else words.SAME_PLUG_ALL
        where = _where(own)
        lines.append(form.format(code=_codes(known), where=where, plug=kin.plug))
    by_all = kin.shown_by_all
    if done := [place for place in by_all if place not in own]:
        labels = [label for label, places in kin.done if set(places) & set(done)]
        lines.append(
            words.PLUG_DONE.format(
                code=_codes(known),
                where=_where(done),
                plug=kin.plug,
                labels=", ".join(labels),
            )
        )
    shown: dict[tuple[str, str], list[Place]] = {}
    for place in kin.off:
        alike = [mold for mold in known if place in mold.alike]
        if alike and place not in by_all:
            others = [mold for mold in known if place not in mold.alike]
            shown.setdefault((_codes(alike), _codes(others)), []).append(place)
    for (codes, others), places in shown.items():
        where = _where(places)
        lines.append(
            words.SOME_OF_PLUG.format(
                code=codes, where=where, others=others, plug=kin.plug
            )
        )
    return lines


def _of_hand(kin: Kin) -> list[str]:
    return [
        words.SAME_HAND.format(code=mold.code, where=_where(mold.alike))
        for mold in kin.estimated_by(Relation.HAND)
        if mold.alike
    ]


def _codes(molds: list[Relative]) -> str:
    return ", ".join(dict.fromkeys(mold.code for mold in molds))


def _where(places) -> str:
    """ "gap at 4, 5 and flushness at 2"."""
    by_kind = [
        (kind, [label for label, of in places if of == kind]) for kind in Kind.values
    ]
    return _(" and ").join(
        f"{KINDS[kind]} at {', '.join(labels)}" for kind, labels in by_kind if labels
    )
