"""A joint over parts: what each part read at its first fit, or what it read last: at
each place the newest reading of the checks in the condition of the last one.

Values are brought to bare edges, so that parts checked bare and finished stand in one
row. The first fit is the first fit-up with readings, with all of its checks, as it is
for a mold (mold_fits.py). Its values are as pulled: what either edge had lost before is
taken off the gap again, by the place of the cut. Verdicts are of what was read.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction
from math import isfinite

from django.db.models import Q

from qa.models import (
    Check,
    CurrentReading,
    Finish,
    FitUp,
    Joint,
    Kind,
    Station,
    Verdict,
)
from qa.numeric.geometry.joint import Limits
from qa.numeric.measuring.modes import modes
from qa.numeric.tool.characteristics import targets
from qa.rules import cuts_before, requirements
from qa.rules.history import Seam
from qa.rules.mold_fits import FOLLOWS, FirstFit, brought_back, places_kept
from qa.rules.station_places import places_of
from shop.models import Airframe, Lineage, Origin, Part, Pull, PullState
from shop.numeric.units import NM_PER, to_mm

MOST = 400  # fits that are looked at, the newest


class Which(StrEnum):
    FIRST = "first"
    LAST = "last"


@dataclass(frozen=True)
class PartRead:
    """One part on one airframe: nm on bare edges, verdicts and the check that read it
    by (row, kind); `own` has the stations of the revision it was read against by the
    row that they are now; `cut_nm`, by row, is what was taken off its gap to have it as
    pulled. `check` is the one of its checks that counts first."""

    part: Part
    airframe: Airframe
    check: Check
    pulls: tuple[Pull, ...]
    nm: dict[tuple[int, str], int]
    verdicts: dict[tuple[int, str], str]
    own: dict[int, Station]
    cut_nm: dict[int, int]
    by: dict[tuple[int, str], Check]

    @property
    def checks(self) -> list[Check]:
        return list({check.pk: check for check in self.by.values()}.values())

    def made_by(self, of: str, row: int | None) -> list[Check]:
        """The checks that made its point on the chart of a kind at a row, else on that
        of a mode."""
        return self.checks if row is None else [self.by[row, of]]

    @property
    def pull(self) -> Pull | None:
        """The pull that it came from, None of a part that came from several molds."""
        return self.pulls[0] if len(self.pulls) == 1 else None


@dataclass(frozen=True)
class OverParts:
    """In the order of time. `seam` has the stations as they are now. `clashes`: by the
    key of a part the places (row, kind) at which what it read does not count, since
    several values stand there and nobody has chosen yet."""

    joint: Joint
    seam: Seam
    reads: list[PartRead]
    clashes: dict[int, frozenset[tuple[int, str]]]

    @property
    def unread(self) -> int:
        """How many parts are left out whole by that."""
        return len(set(self.clashes) - {read.part.pk for read in self.reads})

    def clashing(self, row: int, kind: str) -> int:
        """How many parts are left out at a place by that."""
        return sum((row, kind) in places for places in self.clashes.values())

    def limits(self, row: int, kind: str) -> tuple[int | None, int | None]:
        """nm, as they hold on bare edges."""
        return bare_limits(self.seam.stations[row], kind)

    def series(self, row: int, kind: str) -> list[tuple[PartRead, int]]:
        """The parts that were read at a place, and what."""
        key = row, kind
        return [(read, read.nm[key]) for read in self.reads if key in read.nm]

    def failed(self, row: int, kind: str) -> tuple[int, int]:
        """(how many did not conform, how many were judged) at a place."""
        verdicts = [read.verdicts.get((row, kind)) for read in self.reads]
        judged = [verdict for verdict in verdicts if verdict]
        return sum(verdict == Verdict.DOES_NOT_CONFORM for verdict in judged), len(
            judged
        )


def over_parts(joint: Joint, which: Which) -> OverParts:
    """Nine statements at most. joint with current revision, position and surround."""
    rows = FitUp.objects.filter(joint=joint).select_related(
        "part", "airframe", "revision", "entry"
    )
    fit_ups = list(rows.order_by("-entry__pk")[:MOST])[::-1]
    seams = _seams(joint, fit_ups)
    checks = _checks(fit_ups)
    values = _values(checks, clashing=which == Which.LAST)
    pulls = _pulls({row.part_id for row in fit_ups})
    now = seams[joint.current_id]
    cuts = cuts_before.load(fit_ups, [joint], seams) if which == Which.FIRST else None
    # A part counts once, wherever it was tried: values of one are no two of a row.
    reads: dict[int, PartRead] = {}
    clashes: dict[int, frozenset] = {}
    for own in _fits(checks, values, which):
        fit_up = own[0].fit_up
        key = fit_up.part_id
        if which == Which.FIRST and key in reads:
            continue
        lost = cuts.lost_nm(fit_up, own[0], now) if cuts else [0] * len(now.stations)
        read = _read(own, values, seams, now, pulls.get(key, ()), lost)
        # What was read last stands where it was read, and what is older counts no more.
        reads.pop(key, None)
        clashes[key] = _clashing(own, values, seams[fit_up.revision_id], now)
        if read.nm:
            reads[key] = read
    clashes = {key: places for key, places in clashes.items() if places}
    return OverParts(joint, now, list(reads.values()), clashes)


def _fits(checks: list[Check], values, which: Which) -> list[list[Check]]:
    """The checks that are looked at together, the one that counts first before others:
    all of a fit-up at the first fit; at the last those of one condition, that is of one
    fit-up, bare or finished, held the same way, by when the newest of them was begun.
    """
    fits: dict[tuple, list[Check]] = {}
    for check in checks:
        if not values.get(check.pk):
            continue
        if which == Which.FIRST:
            fits.setdefault((check.fit_up_id,), []).append(check)
        else:
            held = check.in_acceptance_condition, check.held_text
            key = check.fit_up_id, check.finish, *held
            fits[key] = [check, *fits.pop(key, [])]
    return list(fits.values())


def _seams(joint: Joint, fit_ups: list[FitUp]) -> dict[int, Seam]:
    revisions = {fit_up.revision_id: fit_up.revision for fit_up in fit_ups}
    revisions[joint.current_id] = joint.current
    seams = {key: Seam(revision, []) for key, revision in revisions.items()}
    for station in Station.objects.filter(revision__in=seams).order_by("order"):
        revision = station.revision = revisions[station.revision_id]
        revision.joint = joint
        seams[revision.pk].stations.append(station)
    return seams


def _checks(fit_ups: list[FitUp]) -> list[Check]:
    own = {fit_up.pk: fit_up for fit_up in fit_ups}
    rows = Check.objects.filter(fit_up__in=own, state__void=False)
    related = rows.select_related("state", "entry", "instrument")
    checks = list(related.order_by("entry__pk"))
    for check in checks:
        check.fit_up = own[check.fit_up_id]
    return checks


def _values(checks: list[Check], *, clashing: bool) -> dict[int, list[CurrentReading]]:
    """What was read by check; where clashing also what cannot count, since several
    values stand and nobody has chosen yet."""
    wanted = Q(clash=False, reading__value_nm__isnull=False)
    wanted |= Q(clash=True) if clashing else Q()
    rows = CurrentReading.objects.filter(
        wanted, fit_check__in=[check.pk for check in checks]
    )
    values: dict[int, list[CurrentReading]] = {}
    for value in rows.select_related("reading"):
        values.setdefault(value.fit_check_id, []).append(value)
    return values


def _pulls(parts: set[int]) -> dict[int, tuple[Pull, ...]]:
    """The pulls that each part came from, one of each mold: straight, or by what it was
    bonded or cut from, as the fits of a mold have it (mold_fits.py)."""
    made = Lineage.objects.filter(kind__in=FOLLOWS, part__in=parts)
    sources: dict[int, set[int]] = {}
    for part, source in made.values_list("part", "source"):
        sources.setdefault(part, {part}).add(source)
    every = parts.union(*sources.values())
    direct = Lineage.objects.filter(kind=Origin.PULLED, part__in=every)
    direct = direct.exclude(pull__state=PullState.VOID).select_related("pull__tool")
    straight: dict[int, set[Pull]] = {}
    for edge in direct:
        straight.setdefault(edge.part_id, set()).add(edge.pull)
    return {part: _of_each_mold(straight, sources.get(part, {part})) for part in parts}


def _of_each_mold(straight: dict[int, set[Pull]], sources) -> tuple[Pull, ...]:
    """A part that came from several pulls of one mold tells nothing of that."""
    molds: dict[int, set[Pull]] = {}
    for source in sources:
        for pull in straight.get(source, ()):
            molds.setdefault(pull.tool_id, set()).add(pull)
    return tuple(
        next(iter(own)) for _mold, own in sorted(molds.items()) if len(own) == 1
    )


def _read(
    checks: list[Check], values, seams, now: Seam, pulls, lost: list[int]
) -> PartRead:
    fit_up = checks[0].fit_up
    own = seams[fit_up.revision_id]
    # Where the first clashes nothing is taken from the next.
    first = _first_of(checks, values)
    rows = [(check, value) for check, value in first if not value.clash]
    read, _unlike = brought_back(rows, own, now, lost)
    stations = {
        row: own.stations[own.rows[label]]
        for label, row in places_kept(own, now).items()
    }
    return PartRead(
        part=fit_up.part,
        airframe=fit_up.airframe,
        check=checks[0],
        pulls=pulls,
        nm={place: value.nm for place, value in read.items()},
        verdicts={place: value.verdict for place, value in read.items()},
        own=stations,
        cut_nm={row: nm for row, nm in enumerate(lost) if nm},
        by={place: value.check for place, value in read.items()},
    )


def _first_of(checks: list[Check], values) -> list[tuple[Check, CurrentReading]]:
    """Of each place the reading of the first of these checks that has it."""
    first: dict[tuple[int, str], tuple[Check, CurrentReading]] = {}
    for check in checks:
        for value in values[check.pk]:
            first.setdefault((value.station_id, value.kind), (check, value))
    return list(first.values())


def _clashing(
    checks: list[Check], values, own: Seam, now: Seam
) -> frozenset[tuple[int, str]]:
    rows = {
        own.stations[own.rows[label]].pk: row
        for label, row in places_kept(own, now).items()
    }
    return frozenset(
        (rows[value.station_id], value.kind)
        for _check, value in _first_of(checks, values)
        if value.clash and value.station_id in rows
    )


def bare_limits(station: Station, kind: str) -> tuple[int | None, int | None]:
    """nm, as they hold on bare edges."""
    return requirements.requirement(station, kind, Finish.BARE).limits


def in_unit(nm: int, unit: str) -> Fraction:
    """Exact: numbers take what was read as it is."""
    return Fraction(nm, NM_PER[unit])


def targets_mm(seam: Seam, kind: str) -> tuple[list[float | None], bool]:
    """(the target at each station, None where it has no limit; whether some are a limit
    itself), as corrections of a mold take them."""
    limits = [
        Limits(
            *(None if nm is None else to_mm(nm) for nm in bare_limits(station, kind))
        )
        for station in seam.stations
    ]
    rows = list(targets(limits))
    midpoints = [float(row[2]) if isfinite(row[2]) else None for row in rows]
    return midpoints, any(row[3] for row in rows)


def modes_of(seam: Seam, reads: Iterable[PartRead | FirstFit]) -> list[dict]:
    """How each whole part is off, by mode."""
    at, directions, _face = places_of(seam.stations)
    aims = {kind: targets_mm(seam, kind)[0] for kind in Kind.values}
    off = [
        {kind: deviations_mm(read, kind, aims[kind]) for kind in Kind.values}
        for read in reads
    ]
    return [modes(at, directions, away[Kind.GAP], away[Kind.FLUSH]) for away in off]


def deviations_mm(
    part_read: PartRead | FirstFit, kind: str, aims: list[float | None]
) -> list[float | None]:
    """A part from target at each station, None where it was not read or has none."""
    deviations = []
    for row, target in enumerate(aims):
        nm = part_read.nm.get((row, kind))
        off = None if None in (nm, target) else to_mm(nm) - target
        deviations.append(off)
    return deviations


def repairs_of(reads: Iterable[PartRead]) -> dict[int, list[int]]:
    """The numbers of the first pulls after a repair, of each mold that parts came from,
    whether their own parts were ever fitted or not; one statement."""
    molds = {pull.tool_id for part_read in reads for pull in part_read.pulls}
    repairs = {mold: [] for mold in molds}
    rows = Pull.objects.filter(tool__in=molds, after_repair=True).order_by("number")
    for mold, number in rows.values_list("tool", "number"):
        repairs[mold].append(number)
    return repairs
