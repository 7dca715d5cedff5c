"""Parts that share seams, planned at once, as their page shows them."""

from dataclasses import dataclass

from django.db.models import Q
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from qa.models import FitPlan, FitUp, Joint
from qa.numeric.plan.result import CUT, FITS
from qa.queries.plans.plan_pages import PlanView, view_of
from qa.rules import overtaking, plan_records
from qa.rules.assembling import Member, Together
from qa.rules.shared_plans import FIXED, FREE, HELD, Shared, sisters
from qa.wording.probabilities import percent
from shop.models import Airframe

# What the page calls each way to go; the field of a part is "p" and its position.
WAYS = {
    FREE: gettext_lazy("goes freely"),
    HELD: gettext_lazy("goes as it is held"),
    FIXED: gettext_lazy("stays"),
}


@dataclass(frozen=True)
class Choice:
    """A part that can be planned with others: `options` are (value, words)."""

    field: str
    position: int
    serial: str
    place: str
    joints: str
    beside: str
    how: str
    options: list[tuple[str, str]]


@dataclass(frozen=True)
class TogetherPage:
    """`choices` of parts, and what to do part by part, in order. `state` and `outcome`
    are of all joints together; `left_out` says what is not in it."""

    airframe: Airframe
    choices: list[Choice]
    parts: list[PlanView]
    state: str
    outcome: str
    probability: str
    problem: str
    left_out: list[str]
    records: list[FitPlan]

    @property
    def chosen(self) -> list[Choice]:
        return [choice for choice in self.choices if choice.how]

    @property
    def sits(self) -> bool:
        """Whether nothing is to be done at any of them."""
        return bool(self.parts) and all(view.sits_well for view in self.parts)


def page_of(together: Together, unit: str) -> TogetherPage:
    """The page of what was chosen on an airframe, planned or not."""
    views = [view_of(worked, unit) for worked in together.parts]
    shared = together.parts[0].shared if together.parts else None
    state, outcome = _outcome(shared)
    return TogetherPage(
        together.airframe,
        [_choice(together, member) for member in together.members.values()],
        views,
        state,
        outcome,
        _chance(shared),
        together.problem,
        together.left_out,
        _standing(together),
    )


def record_page(plan: FitPlan, unit: str) -> TogetherPage:
    """Plans that were taken together, as they are on record: nothing is solved."""
    rows = [sister.pk for sister in sisters([plan])]
    plans = FitPlan.objects.select_related(*plan_records.PLAN).in_bulk(rows)
    records = [plans[key] for key in rows]
    overtaken = overtaking.in_words(overtaking.changes_of(plan))
    for record in records:
        record.overtaken = "" if hasattr(record, "end") else overtaken
    views = [view_of(plan_records.worked_of(record), unit) for record in records]
    shared = views[0].worked.shared
    state, outcome = _outcome(shared)
    return TogetherPage(
        plan.airframe,
        [],
        views,
        state,
        outcome,
        _chance(shared),
        "",
        views[0].worked.left_out,
        records,
    )


def _standing(together: Together) -> list[FitPlan]:
    """The plans that stand for parts that are chosen, taken together with others."""
    parts = [
        together.members[key].states[0].fit_up.part_id
        for key in together.hows
        if key in together.members
    ]
    rows = FitPlan.objects.filter(
        standing__airframe=together.airframe, standing__part__in=parts
    )
    acts = [row.entry_id for row in rows]
    return [row for row in rows if acts.count(row.entry_id) > 1]


def _choice(together: Together, member: Member) -> Choice:
    names = [f"{s.joint.number} {s.joint.name}" for s in member.states]
    beside = [together.members[key].serial for key in sorted(member.beside)]
    options = [HELD, FREE, FIXED] if member.held else [FREE, FIXED]
    return Choice(
        field=f"p{member.position.pk}",
        position=member.position.pk,
        serial=member.serial,
        place=member.position.name,
        joints=", ".join(names),
        beside=", ".join(beside),
        how=together.hows.get(member.position.pk, ""),
        options=[("", _("is not in it")), *((key, WAYS[key]) for key in options)],
    )


def hows_of(query) -> dict[int, str]:
    """What an address says of each part: {position: how it goes}."""
    return {
        int(name[1:]): value
        for name, value in query.items()
        if name[:1] == "p" and name[1:].isdecimal() and len(name) < 12
        if value in WAYS
    }


def asked_of(together: Together) -> str:
    """The same, as an address says it."""
    return "&".join(f"p{key}={how}" for key, how in together.hows.items())


def _chance(shared: Shared | None) -> str:
    chance = shared and shared.probability
    return "" if chance is None else percent(chance)


def _outcome(shared: Shared | None) -> tuple[str, str]:
    """(state to draw, sentence) of all joints together."""
    if shared is None:
        return "", ""
    count = {"count": shared.count}
    if shared.outcome in (FITS, CUT) and not shared.complete:
        return "not_measured", _(
            "What was measured can be made to fit; not all of it was."
        )
    if shared.sits:
        return "conforms", _("All of them conform as they sit: nothing needs doing.")
    if shared.outcome == FITS:
        sentence = ngettext(
            "Seating it is enough: nothing needs to be cut.",
            "Seating all %(count)d of them is enough: nothing needs to be cut.",
            shared.count,
        )
        if shared.both:
            sentence = _("Seating both of them is enough: nothing needs to be cut.")
        return "conforms", sentence % count
    if shared.outcome == CUT:
        sentence = ngettext(
            "It can fit: seat it and take material off as below.",
            "All %(count)d can fit: seat them and take material off as below.",
            shared.count,
        )
        if shared.both:
            sentence = _("Both can fit: seat them and take material off as below.")
        return "not_proven", sentence % count
    return "above", _("They cannot all be made to fit as allowed: see what stays.")


def shares_a_seam(airframe: Airframe, position_id: int | None = None) -> bool:
    """Whether parts fitted on an airframe (or the one in a position, and another) lie
    against each other. One statement."""
    fitted = FitUp.objects.filter(airframe=airframe).values("joint__position")
    rows = Joint.objects.filter(fit_ups__airframe=airframe)
    lies = Q(surround__in=fitted) | Q(current__stations__surround__in=fitted)
    if position_id is None:
        return rows.filter(lies).exists()
    own = Q(position=position_id)
    against = Q(surround=position_id) | Q(current__stations__surround=position_id)
    return rows.filter(own & lies | against).exists()
