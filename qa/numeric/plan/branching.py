"""Branch and bound over whole steps (Land and Doig, Econometrica 28, 1960).

Each aim of the strict order is searched in turn, the aims before it held at their best.
A box of settings is bounded from below by the linear programme of its straightened
readings. How far each adjuster can go while the programme is as good as the best
settings known shrinks the box, and with it the error of straightening; a box that has
become much smaller is straightened again. What is left in a small box is tried one by
one, by the exact rotation.
"""

import heapq
import math
from dataclasses import dataclass

import numpy as np

from qa.numeric.plan import boxes
from qa.numeric.plan.lattice import Lattice, Model
from qa.numeric.plan.lattice_aims import equal
from qa.numeric.plan.relaxed import SURE, Relaxed

LEAF = 3_000  # settings in a box that are tried one by one
ALIKE = 100_000  # the same in a box of which an aim hardly tells
LITTLE = 0.01  # of what a step of the adjuster does that the aim feels most
CHUNK = 1_024
FEW = 1_000  # settings that are tried sooner than bounded again
MOST_TIES = 4_000  # as good as each other in one aim; with more the next is searched
NOTHING = 1e-12  # an aim this small is met
SMALLER = 16  # a box this much smaller gets its own programme
DESCENTS = 4
MOST_CORNERS = 8  # adjusters of which every rounding is tried
LEAST_FELT = 1e-9  # mm a step; what does less is as good as still
UNAIMED = {"overlap", "step", "unresolved", "build_up"}  # alike wherever cuts aim


@dataclass(frozen=True)
class Stage:
    """One aim, searched: its name, its least, settings (n, k) that reach it (all of
    them if `whole`), and whether nothing better exists."""

    name: str
    least: float
    ties: np.ndarray
    whole: bool
    proven: bool


@dataclass(frozen=True)
class Best:
    """Steps (k,), what each aim comes to, and whether nothing better exists."""

    steps: np.ndarray
    aims: dict[str, float]
    proven: bool
    nodes: int
    stages: tuple[Stage, ...] = ()


@dataclass(frozen=True)
class Whole:
    """In place of a programme: all that bounds leave of a box is tried."""

    model: Model | None


def best_settings(lattice: Lattice, before: Best | None = None) -> Best | None:
    """The best whole steps in the strict order, over all of the lattice.

    `before` is the best where cuts aimed elsewhere: what that does not change is not
    searched again. None where not even leaving everything as it is set is allowed.
    """
    seeds = np.zeros((1, lattice.rig.count), dtype=int)
    if not lattice.tried(seeds)[1][0]:
        return None
    caps, stages, nodes = np.full(len(lattice.names), np.inf), [], 0
    known = list(_still_so(lattice, before))
    for number, name in enumerate(lattice.names):
        if number < len(known):
            stages.append(known[number])
        else:
            search = Search(lattice, number, caps, seeds)
            search.run()
            nodes += search.nodes
            outcome = search.best, search.ties(), search.whole, search.proven
            stages.append(Stage(name, *outcome))
        seeds, least = stages[-1].ties, stages[-1].least
        if stages[-1].whole:
            break
        caps[number] = least + equal(least)
    steps, aims = first_of(lattice, seeds)
    aims_by_name = dict(zip(lattice.names, aims.tolist(), strict=True))
    proven = all(stage.proven for stage in stages)
    return Best(steps, aims_by_name, proven, nodes, tuple(stages))


def _still_so(lattice: Lattice, before: Best | None):
    """The aims of before that come to the same wherever cuts aim: the aim is inside the
    limits, so that it changes only what comes off beyond them."""
    for name, stage in zip(
        lattice.names, before.stages if before else (), strict=False
    ):
        if stage.name != name or name not in UNAIMED:
            return
        yield stage


def first_of(lattice: Lattice, steps) -> tuple[np.ndarray, np.ndarray]:
    """The first of settings (n, k) in the strict order, and its aims.

    Of equals the fewest adjusters, then the fewest steps.
    """
    aims, _ = lattice.tried(steps)
    for number in range(len(lattice.names)):
        least = aims[:, number].min()
        keep = aims[:, number] <= least + equal(least)
        steps, aims = steps[keep], aims[keep]
    changed = (steps != 0).sum(axis=1)
    first = np.lexsort((*steps.T[::-1], np.abs(steps).sum(axis=1), changed))[0]
    return steps[first], aims[first]


class Search:
    """The least of one aim over the lattice, the aims before it held at their best.

    All settings that reach it are kept, unless there are too many (`whole` is false).
    """

    def __init__(self, lattice: Lattice, number: int, caps, seeds):
        self.lattice, self.number, self.caps = lattice, number, caps
        self.best, self.whole = math.inf, True
        self.nodes, self.proven = 0, True
        self._kept = [np.zeros((0, len(lattice.low)), dtype=int)]
        self._kept_values = [np.zeros(0)]
        self._take(seeds)

    def ties(self) -> np.ndarray:
        """The settings (n, k) that are as good as the best found."""
        steps, values = np.concatenate(self._kept), np.concatenate(self._kept_values)
        steps = steps[values <= self.best + equal(self.best)]
        return np.unique(steps, axis=0)

    @property
    def most(self) -> float:
        """What settings must come to, to be kept."""
        near = equal(self.best)
        return self.best + near if self.whole else self.best - near

    @property
    def cutoff(self) -> float:
        """What a box must be able to reach to be looked into."""
        if self.whole:
            return self.most + SURE * max(1.0, abs(self.best))
        return self.most

    def run(self) -> None:
        """Best bound first. A box gets a programme of its own again when it has become
        much smaller than the one that its programme was made for."""
        lattice, count = self.lattice, 0
        if not self._done():
            self._descend()
        heap = [(-math.inf, 0, lattice.low, lattice.high, None)]
        while heap and not self._done():
            bound, _, low, high, relaxed = heapq.heappop(heap)
            if bound > self.cutoff:
                return
            if bound >= self.best - 2 * SURE * max(1.0, abs(self.best)):
                # Nothing better is left, but for roundings: the next aim picks.
                self.whole = False
                return
            self.nodes += 1
            if self.nodes > lattice.most_nodes:
                self.proven = False
                return
            for nearer in self._look(low, high, relaxed):
                count += 1
                heapq.heappush(heap, (nearer[0], count, *nearer[1:]))

    def _descend(self) -> None:
        """Good settings to begin with: go where the straightened readings say, and
        straighten them there again."""
        low, high = self.lattice.low, self.lattice.high
        at = self.ties()[0] if len(self.ties()) else np.clip(0, low, high)
        for _ in range(DESCENTS):
            model = self.lattice.model(at, at)
            if model is None:
                return
            bound, best, _ = self._relaxed(model, low, high).solve(low, high)
            if not math.isfinite(bound):
                return
            self._try_about(best, low, high)
            nearest = np.clip(np.rint(best), low, high).astype(int)
            if (nearest == at).all():
                return
            at = nearest

    def _done(self) -> bool:
        """No aim is below 0. All that reach it may be very many: the next aim picks."""
        if self.best <= NOTHING:
            self.whole = False
        return self.best <= NOTHING

    def _take(self, steps) -> None:
        """Try settings (n, k) exactly and keep what is as good as the best."""
        for first in range(0, len(steps), CHUNK):
            chunk = steps[first : first + CHUNK]
            values, movement, fits = self.lattice.moved(chunk)
            aims = self._aims(values, values, movement)
            rows = np.flatnonzero(fits & self._as_good(aims, self.most))
            rows = rows[self.lattice.aims.allowed(values[rows])]
            if not len(rows):
                continue
            came = aims[rows, self.number]
            self.best = min(self.best, float(came.min()))
            near = came <= self.best + equal(self.best)
            self._keep(chunk[rows[near]], came[near])

    def _aims(self, low, high, movement) -> np.ndarray:
        """The least (n, number + 1) of the aims up to this one, of readings (n, m) in
        low..high and movements (n,)."""
        bounds = self.lattice.aims.least(low, high, self.number + 1)
        if self.number == bounds.shape[1]:
            bounds = np.column_stack([bounds, movement])
        return bounds

    def _as_good(self, aims, most: float) -> np.ndarray:
        """Whether (n,) the aim is at most `most`, and those before it at their best."""
        before = (aims[:, : self.number] <= self.caps[: self.number]).all(axis=1)
        return before & (aims[:, self.number] <= most)

    def _keep(self, steps, values) -> None:
        self._kept.append(steps)
        self._kept_values.append(values)
        if sum(map(len, self._kept)) <= MOST_TIES:
            return
        steps, values = np.concatenate(self._kept), np.concatenate(self._kept_values)
        near = values <= self.best + equal(self.best)
        steps, values = steps[near], values[near]
        if len(steps) > MOST_TIES // 2:
            self.whole, steps, values = False, steps[:1], values[:1]
        self._kept, self._kept_values = [steps], [values]

    # boxes

    def _look(self, low, high, relaxed) -> list:
        """Boxes that are left of one: (bound, low, high, its programme)."""
        if isinstance(relaxed, Whole):
            model = relaxed.model
            steps = boxes.settings(low, high, model and model.ties)
            self._take(model.near(steps, self.lattice.rig.steps) if model else steps)
            return []
        ties = relaxed and relaxed.model.ties
        if boxes.size(low, high, ties) <= LEAF:
            self._leaf(low, high, relaxed and relaxed.model)
            return []
        if relaxed is None or boxes.size(low, high, ties) * SMALLER < relaxed.size:
            made = self._programme(low, high)
            if made is None:
                return []
            low, high, relaxed = made
            if relaxed is None:
                return [(-math.inf, *ends, None) for ends in boxes.halves(low, high)]
        bound, at, prices = relaxed.solve(low, high)
        if bound > self.cutoff:
            return []
        if self._all_alike(self._least(relaxed.model, low, high)):
            # Nothing here is better: which of them all it is the next aim says.
            self.whole = False
            return []
        low, high = boxes.priced(low, high, at, prices, self.cutoff - bound)
        ties, felt = relaxed.model.ties, self._felt(relaxed.model)
        if boxes.size(low, high, ties) <= LEAF:
            self._leaf(low, high, relaxed.model)
            return []
        if self._hardly_felt(low, high, felt) and boxes.size(low, high, ties) <= ALIKE:
            return self._as_whole(low, high, at)
        pick, below = boxes.split(low, high, at, felt)
        top, bottom = high.copy(), low.copy()
        top[pick], bottom[pick] = below, below + 1
        nearer = boxes.tied(low, top, ties), boxes.tied(bottom, high, ties)
        return [
            (bound, *ends, relaxed) for ends in nearer if (ends[0] <= ends[1]).all()
        ]

    def _felt(self, model: Model) -> np.ndarray:
        """How far (k,) a step of each adjuster takes what the aim is about, mm."""
        rows = self.lattice.aims.rows(self.number)
        steps = np.abs(model.slopes[rows] * self.lattice.rig.steps)
        return steps.max(axis=0, initial=0.0) + LEAST_FELT

    def _hardly_felt(self, low, high, felt) -> bool:
        """Whether all that is left open of a box does next to nothing to the aim: then
        no bound tells its settings from each other, and smaller boxes are no better."""
        return bool((felt[low < high] < LITTLE * felt.max()).all())

    def _as_whole(self, low, high, at) -> list:
        """A box that is to be tried as a whole when no other can be better, unless none
        of it can."""
        model = self.lattice.model(low, high)
        if model is None:
            return [(-math.inf, low, high, Whole(None))]
        least = self._least(model, low, high)
        if self._all_alike(least):
            self.whole &= least > self.cutoff
            return []
        self._try_about(at, low, high)
        return [(least, low, high, Whole(model))]

    def _all_alike(self, least: float) -> bool:
        """Whether no setting of a box can be better in this aim than the best known, by
        what each reading can come to, without the roundings of a programme."""
        return least >= self.best - equal(self.best)

    def _least(self, model: Model, low, high) -> float:
        """What the aim can come to at least in a box, each reading by itself."""
        if self.number == len(self.lattice.aims.names):
            return -math.inf
        ends = (
            model.slopes * (low * self.lattice.rig.steps),
            model.slopes * (high * self.lattice.rig.steps),
        )
        least = model.base + np.minimum(*ends).sum(axis=1) - model.play
        most = model.base + np.maximum(*ends).sum(axis=1) + model.play
        return float(self.lattice.aims.least(least[None], most[None])[0, self.number])

    def _programme(self, low, high):
        """(low, high, programme) of a box, shrunk as far as the best known allows.

        None when nothing in it is as good, no programme when the box is too large for
        one or has become small enough to be tried.
        """
        model = self.lattice.model(low, high)
        if model is None:
            return low, high, None
        low, high = boxes.tied(low, high, model.ties)
        if (low > high).any():
            return None
        relaxed = self._relaxed(model, low, high)
        bound, at, _ = relaxed.solve(low, high)
        if not bound <= self.cutoff:
            return None
        self._try_about(at, low, high)
        nearer = relaxed.shrunk(low, high, self.cutoff, at)
        return nearer and (*nearer, relaxed)

    def _relaxed(self, model: Model, low, high) -> Relaxed:
        return Relaxed(self.lattice, self.number, self.caps, model, low, high)

    def _try_about(self, at, low, high) -> None:
        """Try the settings around the best place of the programme."""
        near = np.clip(np.floor(at), low, high).astype(int)
        corners = np.indices((2,) * len(near)).reshape(len(near), -1).T
        if len(near) > MOST_CORNERS:  # the nearest, and each with one or two others
            near = np.clip(np.rint(at), low, high).astype(int)
            steps = np.where(at > near, 1, -1) * np.eye(len(near), dtype=int)
            corners = (steps[:, None] + steps[None]).reshape(-1, len(near))
            corners = np.vstack([np.zeros_like(near), steps, np.sign(corners)])
        around = np.clip(near + corners, low, high)
        self._take(np.unique(around, axis=0))

    def _leaf(self, low, high, around: Model | None) -> None:
        """Try what is in a small box, but for what bounds rule out: those of the larger
        box that it is of, and where these leave many its own."""
        steps = boxes.settings(low, high, around and around.ties)
        bound = np.full(len(steps), -math.inf)
        if around is not None:
            steps, bound = self._not_ruled_out(around, steps)
        if len(steps) > FEW:
            model = self.lattice.model(low, high)
            if model is not None:
                steps, bound = self._not_ruled_out(model, steps)
        for first in range(0, len(steps), CHUNK):
            if bound[first] > self.cutoff:
                break
            self._take(steps[first : first + CHUNK])

    def _not_ruled_out(self, model: Model, steps):
        """(settings, the least that the aim can be) of those that may be as good as the
        best known, by the bounds of a box that they are in, the least first."""
        lattice, number = self.lattice, self.number
        if lattice.rig.overdetermined:
            steps = model.near(steps, lattice.rig.steps)
        changes = steps * lattice.rig.steps
        if model.bent is None:
            values, play = model.base + changes @ model.slopes.T, model.play
        else:
            values = model.bent.readings(changes, model.slopes)
            play = model.bent.play
        movement = np.zeros(len(steps))
        if number == len(lattice.aims.names):
            base, slopes, off = model.move
            moved = np.abs(base + changes @ slopes.T) - off
            movement = (np.maximum(0, moved) ** 2).sum(axis=1)
        high = values + play
        aims = self._aims(values - play, high, movement)
        rows = np.flatnonzero(self._as_good(aims, self.cutoff))
        rows = rows[lattice.aims.allowed(high[rows])]
        rows = rows[np.argsort(aims[rows, number], kind="stable")]
        return steps[rows], aims[rows, number]
