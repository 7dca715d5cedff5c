"""What of a check is in doubt: acts nobody stands up for, readings set aside."""

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from qa.models import Calibration, Check, CheckState, GaugeStanding, Kind, Reading
from qa.rules import authorship, gauge_doubts, gauges, judging
from qa.rules.gauge_due import overdue, overdue_words
from qa.rules.measuring_days import made_when
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
    # That its instrument was found off, or lost or damaged then; "" else.
    gauge: str = ""
    # What was read beyond what the instrument reads, "" where nothing was.
    outside: str = ""
    # What came in while its instrument was lost or damaged, or its calibration due, and
    # what was found good since.
    with_gauge: tuple[str, ...] = ()

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
        return [*sentences, *self.with_gauge]

    @property
    def banner(self) -> str:
        """One line across a paper, "" without a doubt that matters to its reader."""
        if self.void:
            return _("Disowned: nothing of it stands")
        if self.late:
            return _("Late readings wait for a decision")
        if self.claimed:
            return _("Not all by proven authors")
        return _("Its instrument is in doubt") if self.gauge else ""


def doubts_of(check: Check, unit: str) -> Doubts:
    """Return them in a constant number of statements."""
    acts = Counter(entry.author for entry in authorship.unproven(check))
    return Doubts(
        claimed=sorted(acts.items()),
        asides=_asides(check, unit),
        counts=_counts(check),
        late=check.state.late,
        void=check.state.void,
        gauge=gauge_words(gauge_doubts.doubt_of(check)),
        outside=_outside(check, unit),
        with_gauge=(*_refused_now(check), *_late_with(check)),
    )


def _refused_now(check: Check) -> list[str]:
    """Why nothing more is read in a check that runs, before somebody tries."""
    if check.state.state != CheckState.State.OPEN:
        return []
    why = gauges.refusal_of_reading(check.instrument, "")
    return [why] if why else []


def gauge_words(off: Calibration | GaugeStanding | None) -> str:
    """That the instrument was found off later, or lost or damaged when it was read
    with; "" where neither is so."""
    if off is None:
        return ""
    if isinstance(off, GaugeStanding):
        words = {"code": off.instrument, "how": off.get_status_display()}
        words["at"] = moment(off.begins)
        sentence = _(
            "%(code)s was marked %(how)s on %(at)s, before all of this came in: "
            "measure again what matters, or let a calibration on a later day show that "
            "it is good."
        )
        return sentence % words
    words = {"code": off.instrument, "day": off.done_on, "how": off.laboratory}
    return (
        _(
            "%(code)s was found off on %(day)s (%(how)s), and not good since before "
            "this check: measure again what matters."
        )
        % words
    )


def moment(at: datetime) -> str:
    return f"{timezone.localtime(at):%Y-%m-%d %H:%M}"


def _late_with(check: Check) -> list[str]:
    """What came in while the instrument of a check was lost or damaged, place by place,
    and that it was overdue; what was found good since, and says so."""
    if check.instrument is None:
        return []
    history = gauge_doubts.records_of({check.instrument_id})[check.instrument_id]
    first, now = gauge_doubts.first_moment(check), timezone.now()
    spans = [span for span in history.unfit if span.has(first, now)]
    rows = _values_since(check, min(span.low for span in spans)) if spans else []
    sentences = []
    for span in spans:
        sentences += _came_in(check, history, span, rows)
    late = overdue([check]).get(check.pk)
    if late:
        sentence = overdue_words(check.instrument.code, late)
        sentences.append(f"{sentence[:1].upper()}{sentence[1:]}.")
    return sentences


def _values_since(check: Check, low: datetime) -> list[Reading]:
    rows = Reading.objects.filter(fit_check=check, entry__received_at__gte=low)
    rows = rows.exclude(value_nm=None).select_related("station", "entry")
    return list(rows.order_by("station__order", "kind", "pk"))


def _came_in(check: Check, record: gauge_doubts.GaugeRecord, span, rows) -> list[str]:
    received = [row.entry.received_at for row in rows]
    came = [
        row
        for row, at in zip(rows, received, strict=True)
        if at >= span.low and (span.high is None or at < span.high)
    ]
    begun = check.entry.received_at >= span.low
    if not came and not begun:
        return []
    places = dict.fromkeys(
        f"{reading.station.label} {reading.kind}" for reading in came
    )
    values = {"code": check.instrument.code, "how": span.by.get_status_display()}
    values |= {"at": moment(span.low), "places": ", ".join(places)}
    words = _("Came in after %(code)s was marked %(how)s on %(at)s: %(places)s")
    if not came:
        words = _("This check came in after %(code)s was marked %(how)s on %(at)s")
    sentence = words % values
    entries = [reading.entry for reading in came] or [check.entry]
    if all(made_when(x.made_at, x.received_at) < span.low for x in entries):
        sentence += _("; by the clock of the tablet that was read before")
    last = max(entry.received_at for entry in entries)
    if good := record.cleared(span, last):
        words = _("; %(code)s was found good on %(day)s (%(by)s): what it read holds")
        values = {"code": check.instrument.code, "day": good.done_on}
        sentence += words % {**values, "by": good.laboratory}
    return [f"{sentence}."]


def found_off(checks: Iterable[Check]) -> list[str]:
    """In words, check by check, that an instrument was found off since, or was lost or
    damaged; three statements, checks with their entry."""
    rows = sorted(
        {check.pk: check for check in checks}.values(), key=lambda check: check.number
    )
    off = gauge_doubts.found_off(rows)
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

    def in_words(counts: dict) -> str:
        return ", ".join(
            f"{states.word(name)} {counts[name]}"
            for name in states.COUNTED
            if name in counts
        )

    return _("Counted at the finish: %(then)s. Now: %(now)s.") % {
        "then": in_words(finish.counts),
        "now": in_words(now),
    }
