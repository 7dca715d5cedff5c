"""What of a check is in doubt: acts nobody stands up for, readings set aside."""

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass

from django.db.models import Q
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from qa.models import Calibration, Check, Kind, Reading
from qa.rules import authorship, gauges, judging
from qa.wording import lengths
from shop.models import Authorship
from shop.wording import states


@dataclass(frozen=True)
class Aside:
    """A reading that came in late or was disowned: readable, and why it is here."""

    act: str
    station: str
    kind: str
    kind_label: str
    typed: str
    verdict: str | None
    deviation_nm: int | None
    by: str
    why: str
    stands: bool
    waits: bool

    @property
    def place(self) -> str:
        return f"{self.station} {self.kind_label}"


@dataclass(frozen=True)
class Doubts:
    """claimed: (author with the word, number of acts). counts: words where the counts
    of the finish are not those of now, "" else."""

    claimed: list[tuple[str, int]]
    asides: list[Aside]
    counts: str
    late: int
    void: bool
    # That its instrument was found off, "" where it was not.
    gauge: str = ""
    # What was read beyond what the instrument reads, "" where nothing was.
    outside: str = ""
    # That it was begun in date and sent when its calibration was due, "" else.
    waited: str = ""

    @property
    def lines(self) -> list[str]:
        """Every doubt in words, for paper."""
        sentences = []
        for author, n in self.claimed:
            sentence = ngettext(
                "%(n)s act by %(author)s: not proven to be by that person.",
                "%(n)s acts by %(author)s: not proven to be by that person.",
                n,
            )
            sentences.append(sentence % {"n": n, "author": author})
        if self.void:
            sentences.append(_("Its start was disowned: nothing of it stands."))
        if self.late:
            sentence = ngettext(
                "%(n)s reading came in after the finish and waits for a decision.",
                "%(n)s readings came in after the finish and wait for a decision.",
                self.late,
            )
            sentences.append(sentence % {"n": self.late})
        if self.counts:
            sentences.append(self.counts)
        if self.gauge:
            sentences.append(self.gauge)
        if self.outside:
            sentences.append(self.outside)
        if self.waited:
            sentences.append(self.waited)
        return sentences

    @property
    def banner(self) -> str:
        """One line across a paper, "" without a doubt that matters to its reader."""
        if self.void:
            return _("Disowned: nothing of it stands")
        if self.late:
            return _("Late readings wait for a decision")
        if self.claimed:
            return _("Not all by proven authors")
        return _("Its instrument was found off") if self.gauge else ""


def doubts_of(check: Check, unit: str) -> Doubts:
    """Return them in five statements, whatever the number of readings."""
    acts = Counter(entry.author for entry in authorship.unproven(check))
    return Doubts(
        claimed=sorted(acts.items()),
        asides=_asides(check, unit),
        counts=_counts(check),
        late=check.state.late,
        void=check.state.void,
        gauge=gauge_words(gauges.doubt_of(check)),
        outside=_outside(check, unit),
        waited=waited_words(check),
    )


def gauge_words(off: Calibration | None) -> str:
    """That the instrument was found off later, "" where it was not."""
    if off is None:
        return ""
    words = {"code": off.instrument, "day": off.done_on, "how": off.laboratory}
    return (
        _(
            "%(code)s was found off on %(day)s (%(how)s), and not good since before "
            "this check: measure again what matters."
        )
        % words
    )


def waited_words(check: Check) -> str:
    """That a check came in when the calibration of its instrument was due, and was
    begun in date by the clock of the tablet; "" where it was not so."""
    begun = gauges.begun_in_date(check)
    if begun is None:
        return ""
    words = {"code": check.instrument, "due": check.calibration_due, "begun": begun}
    return (
        _(
            "The calibration of %(code)s was due %(due)s, before this came in: by the "
            "clock of the tablet it was begun on %(begun)s, in date."
        )
        % words
    )


def found_off(checks: Iterable[Check]) -> list[str]:
    """In words, check by check, that an instrument was found off since; one statement,
    checks with their entry."""
    rows = sorted(
        {check.pk: check for check in checks}.values(), key=lambda one: one.number
    )
    off = gauges.found_off(rows)
    return [f"{row.label}: {gauge_words(off[row.pk])}" for row in rows if row.pk in off]


def _outside(check: Check, unit: str) -> str:
    places = gauges.read_outside(check)
    if not places:
        return ""
    words = {
        "code": check.instrument,
        "limits": lengths.limits(*check.reach, unit),
        "places": ", ".join(f"{station} {kind}" for station, kind in places),
    }
    return _("%(code)s reads %(limits)s; read outside of it: %(places)s.") % words


def _asides(check: Check, unit: str) -> list[Aside]:
    disowned = Q(entry__confirmation__verdict=Authorship.DISOWNED)
    rows = Reading.objects.filter(disowned | Q(late=True), fit_check=check)
    related = ("station", "entry__by", "entry__confirmation")
    rows = rows.select_related(*related, "late_decision__entry__by")
    return [_aside(row, unit) for row in rows.order_by("pk")]


def _aside(reading: Reading, unit: str) -> Aside:
    decision = getattr(reading, "late_decision", None)
    disowned = reading.entry.authorship == Authorship.DISOWNED
    if disowned:
        why = f"{_('disowned')}: {reading.entry.confirmation.reason}"
    elif decision is None:
        why = _("came in after the finish, waits for a decision")
    else:
        word = _("counted in") if decision.counted else _("left out")
        why = f"{word}: {decision.reason} ({decision.entry.author})"
    value = reading.value_nm
    return Aside(
        act=str(reading.entry_id),
        station=reading.station.label,
        kind=reading.kind,
        kind_label=str(Kind(reading.kind).label),
        typed=lengths.length(value, unit) if value is not None else reading.outcome,
        verdict=reading.verdict or None,
        deviation_nm=reading.deviation_nm,
        by=reading.entry.author,
        why=why,
        stands=bool(decision and decision.counted and not disowned),
        waits=reading.late and decision is None and not disowned,
    )


def _counts(check: Check) -> str:
    """What was counted at the finish, where it is not what counts now."""
    finish = getattr(check, "finished", None)
    now = judging.counts(check.state)
    if finish is None or finish.counts == now:
        return ""

    def told(counts: dict) -> str:
        return ", ".join(
            f"{states.word(name)} {counts[name]}"
            for name in states.COUNTED
            if name in counts
        )

    return _("Counted at the finish: %(then)s. Now: %(now)s.") % {
        "then": told(finish.counts),
        "now": told(now),
    }
