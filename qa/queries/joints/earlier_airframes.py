"""What earlier airframes needed at a joint, for the page of the next one."""

from dataclasses import dataclass
from datetime import timedelta

from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from qa.models import Check, FitPlan, FitUp, Joint, Side, Station
from qa.queries.plans.plan_texts import run_words
from qa.rules import earlier_fits, planning, work_rates
from qa.rules.earlier_fits import Earlier
from qa.rules.history import Seam
from qa.wording import lengths
from shop.models import Airframe, Part
from shop.numeric.units import to_nm

SEEN_MM = 0.005
MOST_RUNS = 8  # cuts that are told one by one
SEEN, HOUR, DAY = timedelta(minutes=3), timedelta(hours=1), timedelta(days=1)


@dataclass(frozen=True)
class Cut:
    """What was cut along an edge: in words ("" where nothing was), and by station.
    `ranged`: it differs from station to station, and the words tell one range."""

    words: str
    at: dict[str, str]
    ranged: bool = False

    @property
    def in_full(self) -> str:
        """With every station, where the words do not tell them."""
        if not self.ranged:
            return self.words
        each = ", ".join(f"{label}: {by}" for label, by in self.at.items())
        return f"{self.words} ({each})"


@dataclass(frozen=True)
class EarlierRow:
    """One earlier airframe in words; "" where there was nothing of the kind."""

    fit: Earlier
    cut: Cut
    surround: Cut
    set: list[str]
    shims: str
    hours: str
    url: str

    @property
    def cuts(self) -> str:
        return self.cut.words

    @property
    def surround_cuts(self) -> str:
        return self.surround.words


@dataclass(frozen=True)
class EarlierPage:
    """`least` is what every earlier part lost, perhaps nothing; `check` the one by
    which it can be taken, None where it is too early or too late; `digest` tells what
    would be taken then; `labels` are the stations."""

    rows: list[EarlierRow]
    least: Cut
    check: Check | None
    digest: str
    labels: list[str]

    @property
    def pre_trim(self) -> str:
        return self.least.words

    @property
    def by_station(self) -> tuple[list[str], list[tuple[str, list[str]]]] | None:
        """(heads, [(station, cuts)]) of every cut that is told as one range in words;
        None where none is."""
        cuts = [
            (words % {"frame": row.fit.airframe.serial}, cut)
            for row in self.rows
            for words, cut in (
                (_("%(frame)s, part"), row.cut),
                (_("%(frame)s, surround"), row.surround),
            )
        ]
        cuts.append((_("Every part, at least"), self.least))
        shown = [(head, cut.at) for head, cut in cuts if cut.ranged]
        rows = [
            (label, [at.get(label, "") for _h, at in shown]) for label in self.labels
        ]
        rows = [(label, own) for label, own in rows if any(own)]
        return ([head for head, _at in shown], rows) if shown else None

    @property
    def surround_cut(self) -> bool:
        return any(row.surround_cuts for row in self.rows)


def earlier_page(joint: Joint, airframe: Airframe, unit: str) -> EarlierPage | None:
    """None on the first airframe, and from its second fit-up on; a constant number of
    statements otherwise."""
    own = list(
        FitUp.objects.filter(joint=joint, airframe=airframe)
        .select_related("part")
        .order_by("number")[:2]
    )
    if len(own) > 1:
        return None
    part: Part | None = own[0].part if own else None
    before = earlier_fits.earlier(joint, airframe, part)
    if not before:
        return None
    stations = list(Station.objects.filter(revision=joint.current).order_by("order"))
    for station in stations:
        station.revision = joint.current
    seam = Seam(joint.current, stations)
    least = earlier_fits.least_lost(joint, stations, before)
    draft = _draft(own[0]) if own and any(least) else None
    return EarlierPage(
        rows=[_row(fit, joint, seam, unit) for fit in before],
        least=_cut(seam, least, unit),
        check=draft and draft.fit_check,
        digest=draft.digest if draft else "",
        labels=[station.label for station in stations],
    )


def for_tablet(page: EarlierPage, joint: Joint, airframe: Airframe) -> dict:
    """The same for a tablet: lines, and where a pre-trim is taken."""
    if page.check:
        url = reverse("pre_trim", args=[page.check.entry_id])
    else:
        url = reverse("joint_on_airframe", args=[joint.pk, airframe.pk]) + "#earlier"
    return {"lines": _lines([_line(row) for row in page.rows], page.least), "url": url}


def lines_to_carry(
    joints: list[Joint],
    airframes: list[Airframe],
    placed: list[tuple],
    stations: dict[int, list[Station]],
) -> dict[tuple[int, int], list[str]]:
    """By joint and airframe that was fitted there once at most, what earlier ones
    needed; in a constant number of statements. placed: (airframe, position, part);
    stations in order by the key of the current revision."""
    sits = {(frame, position): part for frame, position, part in placed}
    fitted = earlier_fits.fitted(joints, set(sits.values()), stations)
    lines = {}
    for joint in joints:
        if joint.pk not in fitted.by_joint:
            continue
        seam = fitted.seams[joint.current_id]
        # Of one earlier airframe the same is told to all that come after it.
        shared: dict[tuple[int, bool], str] = {}
        for airframe in airframes:
            if airframe.type_id != joint.type_id:
                continue
            if fitted.counts.get((joint.pk, airframe.pk), 0) > 1:
                continue
            part = sits.get((airframe.pk, joint.position_id))
            if before := fitted.before(joint, airframe, part):
                own = _lines_before(joint, seam, before, shared)
                lines[joint.pk, airframe.pk] = own
    return lines


def _lines_before(joint: Joint, seam: Seam, before: list[Earlier], shared) -> list[str]:
    unit = joint.current.units
    lines = []
    for fit in before:
        key = fit.airframe.pk, fit.before_correction
        if key not in shared:
            shared[key] = _line(_row(fit, joint, seam, unit))
        lines.append(shared[key])
    least = earlier_fits.least_lost(joint, seam.stations, before)
    return _lines(lines, _cut(seam, least, unit))


def _lines(rows: list[str], least: Cut) -> list[str]:
    """What it is, the line of each earlier airframe, and what all of them lost."""
    lines = [_("What earlier airframes needed"), *rows]
    if least.words:
        words = _("Every earlier part lost at least %(cuts)s: a pre-trim, if you like.")
        lines.append(words % {"cuts": least.in_full})
    return lines


def _line(row: EarlierRow) -> str:
    fit = row.fit
    fit_ups = ngettext("%(n)s fit-up", "%(n)s fit-ups", len(fit.fit_ups))
    phrases = [
        row.cuts and _("cut off the part %(where)s") % {"where": row.cut.in_full},
        row.surround_cuts
        and _("cut off the surround %(where)s") % {"where": row.surround.in_full},
        "; ".join(row.set),
        row.shims and _("shims %(stacks)s") % {"stacks": row.shims},
        fit_ups % {"n": len(fit.fit_ups)},
        row.hours,
        *fit.remarks,
    ]
    state = _(", before the mold was corrected") if fit.before_correction else ""
    words = "; ".join(word for word in phrases if word)
    return f"{fit.airframe.serial}, {fit.part.serial}{state}: {words}."


def _draft(fit_up: FitUp) -> FitPlan | None:
    """The pre-trim that can be taken, by the newest check."""
    rows = Check.objects.filter(fit_up=fit_up).select_related(*planning.RELATED)
    check = rows.order_by("-number").first()
    draft = check and earlier_fits.pre_trim(check)
    return draft[1] if draft else None


def _row(earlier: Earlier, joint: Joint, seam: Seam, unit: str) -> EarlierRow:
    stacks = {stack.point: stack.total_nm for stack in earlier.stacks}
    return EarlierRow(
        fit=earlier,
        cut=_cut(seam, earlier.cut_mm[Side.PART], unit),
        surround=_cut(seam, earlier.cut_mm[Side.SURROUND], unit),
        set=[move.words for move in earlier.moves],
        shims=", ".join(
            f"{point} {lengths.length(nm, unit)}" for point, nm in stacks.items()
        ),
        hours=_hours(earlier),
        url=reverse("joint_on_airframe", args=[joint.pk, earlier.airframe.pk]),
    )


def _hours(earlier: Earlier) -> str:
    """How long it was measured, how long its rounds of setting and cutting took as far
    as that is on record, and how long fitting lasted, nights and all."""
    measured, lasted, rounds = earlier.measuring, earlier.lasted, earlier.rounds
    phrases = []
    if measured >= SEEN:
        phrases.append(_("%(h).1f h of measuring") % {"h": measured / HOUR})
    counted = [took for took in rounds if took <= work_rates.LONGEST]
    if (spent := sum(counted, timedelta())) >= SEEN:
        words = _("%(h).1f h of setting and cutting at most (%(n)s of %(all)s rounds)")
        many = {"n": len(counted), "all": len(rounds)}
        phrases.append(words % {"h": spent / HOUR, **many})
    if lasted >= DAY:
        words = _("%(n).1f days from its first fit-up to its last check")
        phrases.append(words % {"n": lasted / DAY})
    elif lasted >= max(SEEN, measured):
        words = _("%(h).1f h from its first fit-up to its last check")
        phrases.append(words % {"h": lasted / HOUR})
    return ", ".join(phrases)


def _cut(seam: Seam, depths: list[float], unit: str) -> Cut:
    """ "0.40 mm at stations 4–5, 0.90 mm at station 6", as one range where it differs
    from station to station all along; "" where nothing was cut."""
    cut = {
        station.label: to_nm(depth)
        for station, depth in zip(seam.stations, depths, strict=True)
        if depth > SEEN_MM
    }
    at = {label: lengths.length(nm, unit) for label, nm in cut.items()}
    runs: list[tuple[str, list[str]]] = []
    for label, by in at.items():
        if runs and runs[-1][0] == by:
            runs[-1][1].append(label)
        else:
            runs.append((by, [label]))
    if len(runs) <= MOST_RUNS:
        words = _("%(by)s at %(stations)s")
        runs_in_words = (
            {"by": by, "stations": run_words(seam, own)} for by, own in runs
        )
        return Cut(", ".join(words % run for run in runs_in_words), at)
    least, most = (
        lengths.number(nm, unit) for nm in (min(cut.values()), max(cut.values()))
    )
    words = _("%(a)s to %(b)s %(unit)s at %(stations)s")
    where = {"unit": unit, "stations": run_words(seam, set(cut))}
    return Cut(words % {"a": least, "b": most, **where}, at, ranged=True)
