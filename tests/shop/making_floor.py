"""Plugs, molds, lots, laminates and pulls for the tests, made by their actions."""

import datetime as dt

from django.utils import timezone

from shop.actions import (
    laminates,
    layups,
    materials,
    pulls,
    release,
    tooling,
)
from shop.forms.measures import parse_measure
from shop.models import ReleaseProduct

from .making import fresh, make_design


def grams(text):
    return parse_measure(text, "mass", "g")


def mm(text):
    return parse_measure(text, "length", "mm")


def ago(**span):
    return timezone.now() - dt.timedelta(**span)


def make_tool(by, **overrides):
    kind = overrides.pop("kind", "mold")
    said = {"by": by, "kind": kind, "code": fresh(kind.upper()), "name": "Door tool"}
    return tooling.add_tool(**{**said, "made_at": ago(days=30), **overrides})


def make_product(by, **overrides):
    said = {
        "by": by,
        "name": fresh("Wax"),
        "kind": "wax",
        "minutes_between": 60,
        "minutes_before_layup": 120,
        "coats_new": 1,
        "rewax_every": 3,
        "source": "",
    }
    return release.define_product(**{**said, **overrides})


def make_coat(by, tool, **overrides):
    product = overrides.pop("product", None) or ReleaseProduct.objects.first()
    product = product or make_product(by)
    said = {"by": by, "tool": tool, "product": product, "applied_at": ago(days=1)}
    return release.apply_coat(**{**said, **overrides})


def make_mold(by, **overrides):
    """A mold with one coat of release a day ago: ready for a lay-up."""
    tool = make_tool(by, **overrides)
    make_coat(by, tool)
    tool.refresh_from_db()
    return tool


def make_material(by, **overrides):
    kind = overrides.pop("kind", "fiber")
    known = {
        "fiber": {"density": 1780, "areal_mass": 200},
        "core": {"density": 60, "thickness_nm": 5_000_000},
        "resin": {"density": 1180, "ratio": 300, "pot_minutes": 40},
    }.get(kind, {})
    said = {"by": by, "code": fresh(kind), "name": kind.title(), "kind": kind}
    return materials.define_material(**{**said, **known, **overrides})


def make_lot(by, **overrides):
    material = overrides.pop("material", None) or make_material(
        by, kind=overrides.pop("kind", "fiber")
    )
    today = timezone.localdate()
    said = {
        "by": by,
        "number": fresh("LOT"),
        "received_on": today - dt.timedelta(days=60),
        "expires_on": today + dt.timedelta(days=200),
    }
    return materials.receive_lot(material=material, **{**said, **overrides})


def make_recipe(by, **overrides):
    said = {
        "by": by,
        "name": fresh("Cure"),
        "ramp_most": 2000,
        "dwell_low": 50_000,
        "dwell_high": 70_000,
        "dwell_minutes": 60,
        "peak_most": 80_000,
        "minutes_to_release": 24 * 60,
    }
    return laminates.define_recipe(**{**said, **overrides})


def make_laminate(by, **overrides):
    fiber = overrides.pop("fiber", None) or make_material(by)
    resin = overrides.pop("resin", None) or make_material(by, kind="resin")
    plies = [("skin", 500_000, fiber, 0), ("skin", 500_000, fiber, 45)]
    said = {
        "by": by,
        "code": fresh("LAM"),
        "name": "Door skin",
        "resin": resin,
        "fiber_fraction_ppm": 450_000,
        "plies": plies,
        "recipe": make_recipe(by),
    }
    return laminates.define_laminate(**{**said, **overrides})


def make_pull(by, **overrides):
    tool = overrides.pop("tool", None) or make_mold(by)
    laminate = overrides.pop("laminate", None) or make_laminate(by)
    return pulls.start_pull(by=by, tool=tool, laminate=laminate, **overrides)


def lay_all(by, pull, **overrides):
    """Lay every ply as planned, from fresh lots of its materials; return the lots."""
    plies = list(pull.laminate.plies.select_related("material"))
    lots = {
        material.pk: make_lot(by, material=material)
        for material in {ply.material for ply in plies}
    }
    lots |= overrides.pop("lots", {})
    layups.lay_plies(by=by, pull=pull, plies=plies, lots=lots, **overrides)
    return lots


def mix(by, pull, **overrides):
    said = {
        "resin_lot": overrides.pop("resin_lot", None)
        or make_lot(by, material=pull.laminate.resin),
        "hardener_lot": overrides.pop("hardener_lot", None)
        or make_lot(by, kind="hardener"),
        "resin": grams("300 g"),
        "hardener": grams("90 g"),
    }
    return layups.mix_resin(by=by, pull=pull, **{**said, **overrides})


def make_demolded(by, **overrides):
    """A pull laid up, closed a day and a half ago, and taken out clean."""
    tool = overrides.pop("tool", None) or make_mold(by)
    overrides.setdefault("started_at", ago(hours=38))
    if tool.last_coat and tool.last_coat.applied_at > overrides["started_at"]:
        overrides.setdefault("reason", "made for a test")
    pull = make_pull(by, tool=tool, **overrides)
    lay_all(by, pull)
    mix(by, pull)
    pulls.close_layup(by=by, pull=pull, closed_at=ago(hours=36))
    pulls.demold(by=by, pull=pull, release="clean")
    pull.refresh_from_db()
    return pull


def make_pulled_part(by, **overrides):
    pull = overrides.pop("pull", None) or make_demolded(by)
    design = overrides.pop("design", None) or make_design(by)
    said = {"by": by, "pull": pull, "design": design, "serial": fresh("S")}
    return pulls.yield_part(**{**said, **overrides})
