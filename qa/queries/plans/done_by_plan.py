"""What was done by a plan on record, beside what it asked."""

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, field

from django.db.models import Q
from django.utils.translation import gettext as _

from qa.models import (
    AdjusterSetting,
    AppliedMove,
    CutDeviation,
    FitPlan,
    FitUp,
    MoveKind,
    TrimCut,
)
from qa.rules.planning import WorkedPlan
from qa.wording.lengths import length
from qa.wording.settings import change_words
from shop.models import Entry


@dataclass
class DoneByPlan:
    """One act by a plan: what was done as texts, each with what was asked where that
    was otherwise, and what was said to it."""

    entry: Entry
    words: list[str] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)

    def note(self, text: str) -> None:
        if text and text not in self.notes:
            self.notes.append(text)


def done_by(worked: WorkedPlan, unit: str) -> list[DoneByPlan]:
    """Acts by a plan on record, the oldest first. A constant number of statements."""
    plan, acts = worked.record, {}

    def act_of(fact) -> DoneByPlan:
        return acts.setdefault(fact.entry.pk, DoneByPlan(fact.entry))

    changes, cuts = defaultdict(dict), defaultdict(list)
    for setting in _of(AdjusterSetting, plan):
        act_of(setting)
        changes[setting.entry.pk][setting.name] = setting.change_nm
    for move in _of(AppliedMove, plan).exclude(kind=MoveKind.SHIM):
        act = act_of(move)
        by_motion = move.kind == MoveKind.MOVE  # else told by its settings
        if by_motion and move.words not in act.words:  # of each joint of the part
            act.words.append(move.words)
        act.note(move.reason)
    rows = _of(TrimCut, plan).select_related("part", "fit_check__fit_up__joint")
    for cut in rows.filter(Q(depth_nm__gt=0) | Q(planned_nm__gt=0)):
        act_of(cut)
        cuts[cut.entry.pk].append(cut)
    for key, act in acts.items():
        act.words += _set_words(worked, changes[key], unit) if changes[key] else []
        act.words += _cut_words(worked, cuts[key], unit) if cuts[key] else []
    for deviation in _of(CutDeviation, plan):
        act_of(deviation).note(deviation.reason)
    for fit_up in _of(FitUp, plan):
        # Opened inside of the act, whose entry is made last.
        key = min((key for key in acts if key >= fit_up.entry.pk), default=None)
        if key:
            acts[key].note(fit_up.note)
    return [acts[key] for key in sorted(acts)]


def _of(facts, plan: FitPlan):
    rows = facts.objects.filter(plan=plan).order_by("id")
    return rows.select_related("entry__by", "entry__confirmation")


def _set_words(worked: WorkedPlan, made: dict[str, int], unit: str) -> Iterator[str]:
    """How each adjuster was set (nm by name), also what was asked for and stayed."""
    asked = worked.asked_settings
    for adjuster in worked.present:
        change, wanted = made.get(adjuster.name, 0), asked.get(adjuster.name, 0)
        if change or wanted:
            words = f"{adjuster.point}: {change_words(adjuster, change, unit)}"
            asked_words = change_words(adjuster, wanted, unit) if wanted else ""
            yield _beside(words, change, wanted, asked_words)


def _cut_words(worked: WorkedPlan, cuts: list[TrimCut], unit: str) -> Iterator[str]:
    """Stations that were cut alike are told at once."""
    labels = {
        (row.fit_check_id, row.side, row.s_nm): row.station
        for row in worked.record.cuts.all()
    }
    alike = defaultdict(list)
    for cut in cuts:
        label = labels.get((cut.fit_check_id, cut.side, cut.s_nm))
        where = label or length(cut.s_nm, unit, 0)
        if len(worked.joints) > 1:
            where = f"{cut.fit_check.fit_up.joint.number}:{where}"
        body = str(cut.part or cut.side)
        alike[body, cut.depth_nm, cut.planned_nm or 0].append(where)
    for (body, deep, asked), places in alike.items():
        values = {
            "part": body,
            "places": ", ".join(places),
            "deep": length(deep, unit),
        }
        words = _("off %(part)s at %(places)s: %(deep)s") % values
        yield _beside(words, deep, asked, length(asked, unit) if asked else "")


def _beside(words: str, done_nm: int, asked_nm: int, asked: str) -> str:
    if done_nm == asked_nm:
        return words
    asked = asked or _("nothing")
    return _("%(done)s, where %(asked)s was asked") % {"done": words, "asked": asked}
