"""What is still true of a joint on an airframe, what went stale, and why.

After a refit, a change of how the part is held, an applied move, a shim or a trim every
station of that part's joints is stale. Three well-spread witness stations that were not
cut and repeat within the stated repeatability keep the other uncut ones (design 4.4).
One witness that does not repeat keeps nothing: the part sits otherwise than before.
"""

from dataclasses import dataclass, field

from qa.models import Check, FitUp, FitUpReason, Joint, JointRevision, Reading
from qa.numeric import witness
from shop.models import Airframe

from . import history
from .history import History, Seam

WORDS = {
    FitUpReason.FIRST: "first fit-up",
    FitUpReason.REFIT: "taken off and refitted",
    FitUpReason.MOVE: "moved",
    FitUpReason.SHIM: "shimmed",
    FitUpReason.TRIM: "trimmed",
    FitUpReason.SWAP: "swapped for another serial",
    FitUpReason.HELD: "held another way",
}

Key = tuple[str, str]  # (station label, "gap" or "flush")


@dataclass(frozen=True)
class Value:
    """A reading that stands: measured in this state, or carried by witnesses."""

    reading: Reading
    check: Check
    fit_up: FitUp
    carried: bool = False


@dataclass(frozen=True)
class Stale:
    """A reading that stood once, and what happened since."""

    value: Value
    why: str


@dataclass(frozen=True)
class Witnesses:
    """What the stations measured again say about those that were not.

    `repeated` are the labels that did, `apart` those that did not with the difference
    in nm. `repeatability_nm` is None where nothing is known to compare with.
    """

    repeated: tuple[str, ...] = ()
    apart: tuple[tuple[str, str, int], ...] = ()
    repeatability_nm: int | None = None
    spread: bool = False

    @property
    def keep(self) -> bool:
        return self.spread and not self.apart


@dataclass
class Epoch:
    """A stretch of time in which nothing changed for the joint.

    `fit_up` is the joint's own, `began` the number of the entry that began it, `cut`
    the labels cut on the way into it and `left` the fit-ups that were left on that way.
    `before` stood when it began, `measured` was taken in it, `values` stand at its end.
    """

    fit_up: FitUp
    began: int
    why: str
    swapped: bool
    cut: frozenset[str] = frozenset()
    left: list[FitUp] = field(default_factory=list)
    checks: list[Check] = field(default_factory=list)
    before: dict[Key, Value] = field(default_factory=dict)
    measured: dict[Key, Value] = field(default_factory=dict)
    values: dict[Key, Value] = field(default_factory=dict)
    stale: dict[Key, Stale] = field(default_factory=dict)
    witnesses: Witnesses = Witnesses()


@dataclass
class JointState:
    """One joint on one airframe, from its first fit-up to now."""

    airframe: Airframe
    joint: Joint
    fit_up: FitUp
    seam: Seam
    epochs: list[Epoch]

    @property
    def revision(self) -> JointRevision:
        return self.fit_up.revision

    @property
    def now(self) -> Epoch:
        return self.epochs[-1]

    @property
    def proposed(self) -> tuple[str, ...]:
        """Three uncut stations to measure first: together they may keep the rest."""
        rows = self.seam.rows
        known = sorted(
            {
                rows[label]
                for (label, _), one in self.now.before.items()
                if label in rows
                and label not in self.now.cut
                and one.fit_up.revision_id == self.revision.pk
            }
        )
        places = [self.seam.s[row] for row in known]
        best = witness.choose(places, self.seam.length, self.revision.closed)
        return tuple(self.seam.stations[known[k]].label for k in best)

    @property
    def to_measure(self) -> list[str]:
        """Labels that are not current: witnesses first, then what was cut."""
        stale = {label for label, _ in self.now.stale}
        if not stale:
            return []
        order = [station.label for station in self.seam.stations]
        proposed = [label for label in self.proposed if label in stale]
        cut = [x for x in order if x in stale and x in self.now.cut]
        rest = [x for x in order if x in stale]
        return list(dict.fromkeys([*proposed, *cut, *rest]))


def part_fitted(joint: Joint, airframe: Airframe) -> int | None:
    """Return the key of the serial fitted last; None before the first fit-up."""
    rows = FitUp.objects.filter(joint=joint, airframe=airframe).order_by("-number")
    return rows.values_list("part_id", flat=True).first()


def state_of_joint(joint: Joint, airframe: Airframe) -> JointState | None:
    """Return the state of one joint on an airframe; None before its first fit-up."""
    part_id = part_fitted(joint, airframe)
    return states_of_part(airframe, part_id).get(joint.pk) if part_id else None


def states_of_part(airframe: Airframe, part_id: int) -> dict[int, JointState]:
    """Return the state of every joint at which a serial was fitted, by joint key."""
    return states(history.load(airframe, history.joints_of_part(airframe, part_id)))


def states(rows: History, until: int | None = None) -> dict[int, JointState]:
    """Work the states out; `until` leaves out fit-ups opened after that entry."""
    found = {}
    for joint in rows.joints:
        epochs = _epochs(rows, joint, until)
        if epochs:
            _fold(rows, epochs)
            fit_up = epochs[-1].fit_up
            seam = rows.seams[fit_up.revision_id]
            found[joint.pk] = JointState(rows.airframe, joint, fit_up, seam, epochs)
    return found


def how_held(fit_up: FitUp) -> list:
    """How a part was held, so that two fit-ups can be compared."""
    return sorted(
        (one.get("kind", ""), str(one.get("where", "")).strip(), one.get("count") or 0)
        for one in fit_up.held
    )


def _epochs(rows: History, joint: Joint, until: int | None) -> list[Epoch]:
    """The epochs of a joint, each with its checks, before anything is worked out."""
    own = rows.fit_ups.get(joint.pk, [])
    events = [(one.entry.pk, one, None) for one in own]
    events += [(one.entry.pk, None, one) for one in _elsewhere(rows, joint, own)]
    epochs: list[Epoch] = []
    before: FitUp | None = None
    for began, mine, other in sorted(events, key=lambda event: event[0]):
        if until is not None and began > until:
            break
        swapped = bool(mine and before and before.part_id != mine.part_id)
        epoch = Epoch(mine or before, began, _why(mine, other), swapped)
        if mine and before and not swapped:
            epoch.cut = _cut(rows, before, rows.seams[mine.revision_id])
            epoch.left = [before]
        epochs.append(epoch)
        before = epoch.fit_up
    for fit_up in own:
        mine = [epoch for epoch in epochs if epoch.fit_up is fit_up]
        for check in rows.checks.get(fit_up.pk, []) if mine else []:
            begun = [one for one in mine if one.began < check.entry.pk]
            (begun or mine)[-1 if begun else 0].checks.append(check)
    return epochs


def _why(mine: FitUp | None, other: FitUp | None) -> str:
    if mine:
        return f"{WORDS[mine.reason]} (fit-up {mine.number})"
    words = WORDS[other.reason] if other.reason != "first" else WORDS["held"]
    return f"the part was {words} at {other.joint.number} (fit-up {other.number})"


def _elsewhere(rows: History, joint: Joint, own: list[FitUp]):
    """Fit-ups at other joints that moved, cut or held this part another way."""
    if not own:
        return
    for other_key, others in rows.fit_ups.items():
        if other_key == joint.pk:
            continue
        for other in others:
            mine = [one for one in own if one.entry.pk < other.entry.pk]
            if not mine or other.part_id != mine[-1].part_id:
                continue
            told = other.reason != FitUpReason.FIRST
            if told or how_held(other) != how_held(mine[-1]):
                yield other


def _cut(rows: History, before: FitUp, seam: Seam) -> frozenset[str]:
    cut = set()
    for depths in rows.cut_in(before, seam).values():
        cut.update(
            station.label
            for station, depth in zip(seam.stations, depths, strict=True)
            if depth > 1e-6
        )
    return frozenset(cut)


def _fold(rows: History, epochs: list[Epoch]) -> None:
    """Work out what stands at the end of each epoch from what stood before it."""
    values: dict[Key, Value] = {}
    stale: dict[Key, Stale] = {}
    waiting: Epoch | None = None
    for epoch in epochs:
        if epoch.swapped:
            values, stale, waiting = {}, {}, None
        if waiting:
            epoch.cut |= waiting.cut
            epoch.left = [*waiting.left, *epoch.left]
        epoch.before = values
        for check in epoch.checks:
            for label, reading in rows.readings.get(check.pk, []):
                if reading.value_nm is not None:
                    key = (label, reading.kind)
                    epoch.measured[key] = Value(reading, check, epoch.fit_up)
        epoch.witnesses = _witnesses(rows, epoch)
        epoch.values = {**_carried(epoch), **epoch.measured}
        for key, value in values.items():
            stale[key] = Stale(value, epoch.why)
        for key in epoch.values:
            stale.pop(key, None)
        epoch.stale = dict(stale)
        if epoch.measured or not values:
            values, waiting = epoch.values, None
        else:
            # Nothing was measured: what stood before is still what can be repeated.
            waiting = epoch


def _witnesses(rows: History, epoch: Epoch) -> Witnesses:
    seam = rows.seams[epoch.fit_up.revision_id]
    within = _repeatability(epoch)
    apart, again = [], {}
    for key, now in epoch.measured.items():
        label, kind = key
        before = epoch.before.get(key)
        if before is None or label in epoch.cut or label not in seam.rows:
            continue
        if before.reading.station_id != now.reading.station_id or within is None:
            continue
        difference = now.reading.value_nm - before.reading.value_nm
        again.setdefault(label, []).append(abs(difference) <= within)
        if abs(difference) > within:
            apart.append((label, kind, difference))
    repeated = tuple(label for label in seam.rows if all(again.get(label, [False])))
    places = [seam.s[seam.rows[label]] for label in repeated]
    spread = witness.well_spread(places, seam.length, seam.revision.closed)
    return Witnesses(repeated, tuple(apart), within, spread)


def _repeatability(epoch: Epoch) -> int | None:
    """What two readings may differ by: as the revision states, else twice u."""
    stated = epoch.fit_up.revision.repeatability_nm
    if stated is not None:
        return stated
    known = [check.u_nm for check in epoch.checks if check.u_nm is not None]
    return 2 * max(known) if known else None


def _carried(epoch: Epoch) -> dict[Key, Value]:
    """What the witnesses keep: uncut stations, in the kinds that were witnessed."""
    if not epoch.witnesses.keep:
        return {}
    seen = {kind for _, kind in epoch.measured}
    return {
        (label, kind): Value(old.reading, old.check, old.fit_up, carried=True)
        for (label, kind), old in epoch.before.items()
        if label not in epoch.cut
        and kind in seen
        and old.fit_up.revision_id == epoch.fit_up.revision_id
    }
