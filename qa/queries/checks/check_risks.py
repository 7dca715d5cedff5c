"""The risk of a whole check, for its page: what was read, and what the rule risks."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from django.utils.translation import gettext as _

from qa.models import Check, CurrentReading, Kind, Station
from qa.numeric.measuring import check_risk
from qa.numeric.measuring.risk import Risks, all_conform, guarded
from qa.queries.molds import doubts
from qa.rules import check_risks as rules
from qa.rules.check_risks import Group, Limited, Made, Rule
from qa.rules.over_parts import PartRead
from qa.wording import lengths
from qa.wording.probabilities import fine_percent


@dataclass(frozen=True)
class RuleRow:
    """One rule: shares of all checks, in words."""

    name: str
    accepted: str
    customer: str
    shop: str


@dataclass(frozen=True)
class RiskPage:
    """`read` says of this check how surely all conforms; `problem` why no rule is
    weighed, `lacking` what of the check is not weighed with the rest."""

    read: str
    parts: int
    problem: str = ""
    conforming: str = ""
    count: int = 0
    rows: list[RuleRow] | None = None
    wish: str = ""
    lacking: str = ""
    assumed: str = ""
    # Gauges that were found off, lost, damaged or overdue: of this check, and of the
    # parts that show what is made.
    doubts: Sequence[str] = ()
    made_doubts: Sequence[str] = ()


def read_words(check: Check) -> str:
    """How probable it is that all that was read conforms; one statement."""
    rows = CurrentReading.objects.filter(fit_check=check, reading__verdict__gt="")
    chances = list(rows.values_list("reading__probability", flat=True))
    if not chances:
        return _("Nothing was judged yet.")
    if None in chances:
        return _("Not known: the uncertainty of a reading is not.")
    chance = all_conform(chances)
    words = _(
        "Probability that all %(n)s that were read conform: %(all)s, if their errors "
        "are independent; %(range)s however they hang together."
    )
    least, most = fine_percent(chance.least), fine_percent(chance.most)
    between = _("%(least)s to %(most)s") % {"least": least, "most": most}
    return words % {
        "n": len(chances),
        "all": fine_percent(chance.independent),
        "range": least if least == most else between,
    }


def stations_of(check: Check) -> list[Station]:
    """With their revision, as rules ask for them; one statement."""
    stations = list(check.fit_up.revision.stations.all())
    for station in stations:
        station.revision = check.fit_up.revision
    return stations


def risk_page(
    check: Check,
    stations: list[Station],
    made: dict[Group, Made],
    wish: float | None,
    reads: list[PartRead],
    unit: str,
) -> RiskPage:
    """check: with its entry; stations: by `stations_of`; made: by group what is made;
    wish: the customer's risk wished for, a share; reads: of the parts on record."""
    page = RiskPage(
        read_words(check),
        len(reads),
        doubts=doubts.of_check(check),
        made_doubts=doubts.of_reads(reads),
    )
    if check.u_nm is None:
        problem = _("The uncertainty of what it was read with is not known.")
        return replace(page, problem=problem)
    rule = rules.rule_of(check, stations, made)
    if not rule.each:
        return replace(page, problem=_("Say below how what is made scatters."))
    simple = [judged.tolerance for judged in rule.each]
    now = check_risk.whole_risks(rule.each, rule.accepted)
    rows = [_row(_("as this joint is judged"), now)]
    if rule.accepted != simple:
        plain = check_risk.whole_risks(rule.each, simple)
        rows.append(_row(_("without a guard band"), plain))
    if wish is not None:
        rows += _wished(rule, check, wish, unit)
    kept_by_none = "" if rows[-1].accepted else rows.pop().name
    return replace(
        page,
        conforming=fine_percent(now.conforming),
        count=len(rule.each),
        rows=rows,
        wish=kept_by_none,
        lacking=_lacking_words(rule),
        assumed=_assumed_words(rule),
    )


GROUPS = {
    (Kind.GAP, Limited.BOTH): _("gaps with two limits"),
    (Kind.FLUSH, Limited.BOTH): _("flushness with two limits"),
    (Kind.GAP, Limited.ONE): _("gaps with one limit"),
    (Kind.FLUSH, Limited.ONE): _("flushness with one limit"),
}


def _assumed_words(rule: Rule) -> str:
    """What is assumed where there is but one limit, "" where there is none such."""
    count = sum(None in judged.tolerance for judged in rule.each)
    if not count:
        return ""
    words = _(
        "%(count)s of these have one limit, and so no middle: what is made there is "
        "taken as normal about so far inside of the limit as stated below for them, "
        "and with their own scatter."
    )
    return words % {"count": count}


def _lacking_words(rule: Rule) -> str:
    if not rule.lacking:
        return ""
    words = _(
        "Left out, since it is not known how it scatters: %(kinds)s. So these are not "
        "the risks of the whole check; say it below."
    )
    return words % {"kinds": ", ".join(GROUPS[group] for group in rule.lacking)}


def _wished(rule: Rule, check: Check, wish: float, unit: str) -> list[RuleRow]:
    """The rule that keeps a wish; without numbers where none does."""
    r = check_risk.guard_that_keeps(rule.each, wish)
    if r is None:
        words = _("No guard band keeps that risk: a better gauge is needed.")
        return [RuleRow(words, "", "", "")]
    ends = [guarded(judged.tolerance, judged.u, r) for judged in rule.each]
    risks = check_risk.whole_risks(rule.each, ends)
    guard = round(2 * r * check.u_nm)
    finer = {"mm": 3, "in": 4}[unit]
    words = _("limits drawn in by %(guard)s, which keeps %(wish)s for the customer")
    values = {"guard": lengths.length(guard, unit, finer), "wish": fine_percent(wish)}
    return [_row(words % values, risks)]


def _row(name: str, risks: Risks) -> RuleRow:
    shares = risks.accepted, risks.customer, risks.shop
    return RuleRow(name, *map(fine_percent, shares))
