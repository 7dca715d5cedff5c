"""What is still true of a joint on an airframe, what went stale, and why.

After a refit, a change of how the part is held, an applied move, a shim or a trim every
station of that part's joints is stale; so too when either side is taken off, put back,
swapped, held or scrapped: place and fit are one history (`touched`). Three well-spread
witness stations may keep the uncut ones (`witnesses`), never across a move, another way
of holding or another surround (design 4.4).
"""

from dataclasses import dataclass, replace

from qa.models import (
    AppliedMove,
    Check,
    FitUp,
    FitUpReason,
    Joint,
    JointRevision,
)
from qa.rules import history, witnesses
from qa.rules.epochs import Epoch, Key, Stale, Value, Witnesses, how_held
from qa.rules.history import History, Seam
from qa.rules.touches import MOVES, WORDS, Touch
from shop.models import Airframe

__all__ = [
    "WORDS",
    "Epoch",
    "JointState",
    "Stale",
    "Value",
    "Witnesses",
    "part_fitted",
    "state_of_joint",
    "states",
    "states_of_part",
]


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
        return witnesses.proposed(self.now, self.seam)

    @property
    def held_now(self) -> list:
        """How it is held, as the newest check says, else its fit-up."""
        held = self.now.checks[-1].held if self.now.checks else []
        return how_held(held or self.fit_up.held)

    @property
    def off(self) -> str:
        """What is not in place now, "" when part and surround are."""
        return "; ".join(self.now.off.values())

    def taken_off_after(self, check: Check) -> int | None:
        """The entry that took a side off, where that alone happened since a check: what
        is then cut on the bench is still cut by its plan. None otherwise."""
        later = [x for x in self.epochs if x.began > check.entry.pk]
        had = [x for x in self.epochs if check in x.checks]
        if not later or not had or had[-1] is not self.epochs[-1 - len(later)]:
            return None
        return later[0].began if all(x.only_off for x in later) else None

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


def after_cut(state: JointState, cut: set[str]) -> JointState:
    """The same joint as it will be once these stations are cut and nothing else is
    done: what is to be measured then, and which witnesses may keep the rest."""
    now = state.now
    stale = {
        key: Stale(value, WORDS[FitUpReason.TRIM]) for key, value in now.values.items()
    }
    later = replace(
        now, bar="", cut=frozenset(cut), before=now.values, values={}, stale=stale
    )
    return replace(state, epochs=[*state.epochs, later])


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
    by_joint = {}
    for joint in rows.joints:
        epochs = _epochs(rows, joint, until)
        if epochs:
            _fold(rows, epochs)
            fit_up = epochs[-1].fit_up
            seam = rows.seams[fit_up.revision_id]
            by_joint[joint.pk] = JointState(rows.airframe, joint, fit_up, seam, epochs)
    return by_joint


def _epochs(rows: History, joint: Joint, until: int | None) -> list[Epoch]:
    """The epochs of a joint, each with its checks, before anything is worked out."""
    own = rows.fit_ups.get(joint.pk, [])
    events = [(fit_up.entry.pk, fit_up) for fit_up in own]
    events += [
        (touch.at, touch) for touch in rows.touches.of(joint, rows.airframe.pk, own)
    ]
    epochs: list[Epoch] = []
    for began, event in sorted(events, key=lambda event: event[0]):
        if until is not None and began > until:
            break
        if isinstance(event, Touch):
            epochs.append(_touched(rows, event, epochs[-1]))
        else:
            epochs.append(_opened(rows, event, epochs[-1] if epochs else None))
        epochs[-1].moves = _moves(rows, epochs)
    for fit_up in own:
        mine = [epoch for epoch in epochs if epoch.fit_up is fit_up]
        for check in rows.checks.get(fit_up.pk, []) if mine else []:
            begun = [epoch for epoch in mine if epoch.began < check.entry.pk]
            (begun or mine)[-1 if begun else 0].checks.append(check)
    return epochs


def _opened(rows: History, mine: FitUp, last: Epoch | None) -> Epoch:
    """The epoch that a fit-up of the joint itself opens."""
    before = last.fit_up if last else None
    why = f"{WORDS[mine.reason]} (fit-up {mine.number})"
    swapped = bool(before and before.part_id != mine.part_id)
    epoch = Epoch(mine, mine.entry.pk, mine.entry.received_at, why, swapped)
    if before and not swapped:
        if mine.reason == FitUpReason.TRIM and rows.cut_at_all(before):
            # What is cut lies on the bench: that was recorded, it is not on again.
            epoch.off = dict(last.off)
        epoch.cut = _cut(rows, before, rows.seams[mine.revision_id])
        epoch.left = [before]
        epoch.bar = _bar(rows, before, mine)
    return epoch


def _moves(rows: History, epochs: list[Epoch]) -> list[AppliedMove]:
    """The moves that led into the newest epoch: of what was recorded at the fit-up
    before, a surround's own act, and the rest where the joint's next fit-up opens."""
    if len(epochs) < 2 or epochs[-1].swapped:
        return []
    here, last = epochs[-1], epochs[-2]
    every = rows.moves.get(last.fit_up.pk, [])
    if here.fit_up is last.fit_up:
        return [move for move in every if move.entry.pk == here.began]
    before = [move for epoch in epochs[:-1] for move in epoch.moves]
    return [move for move in every if move not in before]


def _bar(rows: History, before: FitUp, mine: FitUp) -> str:
    """Why no witness can speak across the way from one fit-up to the next."""
    if mine.reason in MOVES or rows.moves.get(before.pk):
        return WORDS[FitUpReason.MOVE]
    if None not in (before.surround_part_id, mine.surround_part_id) and (
        before.surround_part_id != mine.surround_part_id
    ):
        return "another surround"
    if mine.reason == FitUpReason.HELD or _rehung(before, mine):
        return WORDS[FitUpReason.HELD]
    return ""


def _rehung(before: FitUp, mine: FitUp) -> bool:
    """Whether the two state how the part is held, and not the same."""
    return how_held(before.held) != how_held(mine.held)


def _touched(rows: History, touch: Touch, last: Epoch) -> Epoch:
    """The epoch that begins when one of the serials is touched otherwise."""
    epoch = Epoch(last.fit_up, touch.at, touch.when, touch.why, False, touch.bar)
    epoch.off = dict(last.off)
    if touch.off:
        epoch.off[touch.off] = touch.why
    epoch.off.pop(touch.on, None)
    epoch.only_off = bool(touch.off) and not touch.bar and touch.fit_up is None
    other = touch.fit_up
    if other and other.joint_id == last.fit_up.joint_id:
        # It was cut there, along the same seam, before this fit-up on that airframe.
        seam = rows.seams[last.fit_up.revision_id]
        epoch.cut = rows.cut_elsewhere(other, seam)
    return epoch


def _cut(rows: History, before: FitUp, seam: Seam) -> frozenset[str]:
    cut = set()
    for depths in rows.cut_in(before, seam).values():
        cut |= seam.cut_at(depths)
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
            epoch.moves = [*waiting.moves, *epoch.moves]
            epoch.bar = epoch.bar or waiting.bar
            epoch.since = [*waiting.since, *epoch.since]
        epoch.before = values
        for check in epoch.checks:
            for label, reading, clash in rows.readings.get(check.pk, []):
                if reading.value_nm is not None:
                    epoch.measured[label, reading.kind] = Value(
                        reading, check, epoch.fit_up, clash=clash
                    )
        if epoch.off:
            # What is not in place was not measured in place, whatever came in since.
            stale |= {
                key: Stale(value, epoch.reasons)
                for key, value in epoch.measured.items()
            }
            epoch.measured = {}
        epoch.witnesses = witnesses.heard(epoch, rows.seams[epoch.fit_up.revision_id])
        epoch.values = {**witnesses.carried(epoch), **epoch.measured}
        for key, value in values.items():
            stale[key] = Stale(value, epoch.reasons)
        for key in epoch.values:
            stale.pop(key, None)
        epoch.stale = dict(stale)
        if epoch.measured or not values:
            values, waiting = epoch.values, None
        else:
            # Nothing was measured: what stood before is still what can be repeated.
            waiting = epoch
