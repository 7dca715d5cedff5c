"""A check begun at the desk: the fit-up and the check stand or fall together."""

from django.utils.translation import gettext as _

from qa.actions import checks, fitups
from qa.models import Check, FitUp
from qa.rules import staleness
from shop.ledger import Refused, writing

SAME = "same"


def start(
    *,
    by,
    airframe,
    joint,
    last: FitUp | None,
    refit: str,
    held: list[str],
    held_note: str,
    part,
    surround_part,
    temperature: int | None,
    reason: str = "",
    **condition,
) -> Check:
    """Open the next fit-up, unless nothing changed since the last, and a check; one
    transaction, so that a refused check leaves no fit-up behind.

    held: kinds, with `held_note` where; reason: for what is unusual about the part.
    """
    holding = [
        {"kind": kind, "where": held_note if n == 0 else "", "count": 0}
        for n, kind in enumerate(held)
    ]
    condition["temperature_mc"] = temperature
    with writing():
        if refit == SAME:
            _refuse_changed(last, part, surround_part)
            kept = _held_as_before(last, holding, held_note)
            return checks.start_check(by=by, fit_up=last, held=kept, **condition)
        fit_up = fitups.open_fit_up(
            by=by,
            airframe=airframe,
            joint=joint,
            part=part,
            surround_part=surround_part,
            reason=refit,
            held=holding,
            why=reason,
        )
        return checks.start_check(by=by, fit_up=fit_up, **condition)


def _refuse_changed(last: FitUp, part, surround_part) -> None:
    """Refuse "nothing changed" where something did."""
    if part != last.part:
        sentence = _("Fit-up %(n)s is of %(part)s: another serial opens the next one.")
        values = {"n": last.number, "part": last.part.serial}
        raise Refused(sentence % values, field="part")
    if surround_part and surround_part != last.surround_part:
        sentence = _("Fit-up %(n)s does not state this surround: open the next one.")
        raise Refused(sentence % {"n": last.number}, field="surround_part")
    state = staleness.state_of_joint(last.joint, last.airframe)
    if state.fit_up.pk != last.pk:
        sentence = _("Fit-up %(n)s was opened since.")
        raise Refused(sentence % {"n": state.fit_up.number}, field="refit")
    if state.off:
        sentence = _("%(off)s. Put it back first, or open the next fit-up.")
        raise Refused(sentence % {"off": state.off}, field="refit")


def _held_as_before(last: FitUp, ticked: list[dict], note: str) -> list[dict]:
    """What was ticked, to be kept with the check where the fit-up states nothing;
    refused where it states something else: then it is held another way."""
    kinds = {holding["kind"] for holding in ticked}
    before = {holding["kind"] for holding in last.held}
    where = "; ".join(holding["where"] for holding in last.held if holding["where"])
    if not last.held:
        return fitups.clean_held(ticked)
    if ticked and (kinds != before or note.strip() != where.strip()):
        words = _(
            "Fit-up %(n)s was held by: %(held)s. Choose what changed under Fit-up when "
            "it is held another way now."
        )
        values = {"n": last.number, "held": last.held_text}
        raise Refused(words % values, field="held")
    return []
