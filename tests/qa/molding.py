"""A shop with a mold and its covers, each fitted as a test says."""

from qa.queries.molds import fits
from qa.rules import mold_assessment, mold_fits
from qa.rules.mold_assessment import Choice
from shop.actions import pulls
from shop.models import Tool
from tests.qa.making import (
    make_airframe,
    make_check,
    make_design,
    make_fit_up,
    make_joint,
    make_stations,
    mm,
    read,
)
from tests.shop.making_floor import make_laminate, make_mold

LONG = {"4": -1.3, "5": -1.2}  # what the mold does to the gap, mm


class Shop:
    def __init__(self, by, stations=None):
        self.by = by
        drafts = stations or make_stations(10, trim_max_nm=mm(4))
        self.joint = make_joint(by, drafts)
        self.airframes = [make_airframe(by, type=self.joint.type) for _ in range(3)]
        self.design = make_design(by)
        self.laminate = make_laminate(by, recipe=None)
        self.mold = make_mold(by, design=self.design)
        # What all is read with; None: each check with a gauge of its own.
        self.gauge = None

    def pull(self, mold=None):
        """A part from the next pull."""
        mold = Tool.objects.get(pk=(mold or self.mold).pk)
        pull = pulls.start_pull(
            by=self.by, tool=mold, laminate=self.laminate, reason="a test"
        )
        pulls.close_layup(by=self.by, pull=pull, reason="a test")
        pulls.demold(by=self.by, pull=pull, release="clean", reason="a test")
        pull.refresh_from_db()
        serial = f"{mold.code}-{pull.number}"
        return pulls.yield_part(
            by=self.by, pull=pull, design=self.design, serial=serial
        )

    def fit(self, part, airframe, gaps, flushes=None, *, finish="finished", joint=None):
        """Open a fit-up and read it: mm from target by label, 0 where none is given;
        None: flushness not read."""
        flushes = flushes or {}
        fit_up = make_fit_up(self.by, joint or self.joint, airframe=airframe, part=part)
        gauge = {"instrument": self.gauge} if self.gauge else {}
        check = make_check(self.by, fit_up, finish=finish, **gauge)
        for label in fit_up.revision.stations.values_list("label", flat=True):
            read(check, label, "gap", f"{2.25 + gaps.get(label, 0.0):.3f}")
            flush = flushes.get(label, 0.0)
            if flush is not None:
                read(check, label, "flush", f"{flush:.3f}")
        return check

    @property
    def found(self):
        key = self.mold.pk, self.joint.pk, self.design.pk
        return mold_fits.load([self.mold])[key]

    def assessment(self, **choice):
        return mold_assessment.assess(self.found, Choice(**choice))

    def page(self, choice=None):
        mold = Tool.objects.select_related("plug", "mirror").get(pk=self.mold.pk)
        key = self.joint.pk, self.design.pk
        return fits.fits_page(mold, key, choice, "mm")


def noisy(seed: int, off=LONG) -> dict[str, float]:
    """The mold's own error and a little of the part's, mm by label."""
    wave = {
        str(n): 0.03 * ((7 * n + 3 * seed * n + seed) % 5 - 2) for n in range(1, 11)
    }
    return {label: value + off.get(label, 0.0) for label, value in wave.items()}


def ripple(seed: int) -> dict[str, float]:
    """Flushness of a part, a little uneven, mm by label."""
    return {str(n): 0.02 * ((5 * n + 2 * seed * n) % 7 - 3) for n in range(1, 11)}
