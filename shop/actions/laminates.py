"""Laminates and cure recipes."""

from collections.abc import Sequence

from django.utils.translation import gettext as _

from shop import roles
from shop.ledger import Refused, perform
from shop.models import CureRecipe, Laminate, Material, MaterialKind, Person, Ply

LAID = (MaterialKind.FIBER, MaterialKind.PREPREG, MaterialKind.CORE)


def define_recipe(*, by: Person, recipe: CureRecipe | None = None, **fields):
    """Add a cure recipe. One that judged a trace is kept: name another revision."""
    roles.require(by, "define laminates")
    with perform("cure_recipe/1", by=by, said=dict(fields)):
        recipe = recipe or CureRecipe()
        for name, value in fields.items():
            setattr(recipe, name, value)
        if recipe.dwell_low >= recipe.dwell_high:
            raise Refused(_("The dwell must be a range."), field="dwell_high")
        recipe.full_clean()
        recipe.save()
    return recipe


def define_laminate(
    *,
    by: Person,
    code: str,
    name: str,
    resin: Material,
    fiber_fraction_ppm: int,
    plies: Sequence[tuple[str, int, Material, int]],
    laminate: Laminate | None = None,
    revision: str = "A",
    design=None,
    recipe=None,
    loss_ppm: int = 0,
    spread_ppm: int = 30_000,
    core_uptake: int = 0,
) -> Laminate:
    """Write a ply schedule: plies as (area name, mm2, material, degrees) in order.

    A laminate that a pull was made with is never changed: give it a new revision.
    """
    roles.require(by, "define laminates")
    content = {
        "code": code,
        "revision": revision,
        "plies": [[a, mm2, m.code, angle] for a, mm2, m, angle in plies],
        "fiber_fraction_ppm": fiber_fraction_ppm,
    }
    with perform("laminate/1", by=by, said=content) as act:
        if laminate and laminate.pulls.exists():
            message = _("Pulls were made with this revision. Name the next one.")
            raise Refused(message, field="revision")
        same = Laminate.objects.filter(code=code, revision=revision)
        if same.exclude(pk=laminate and laminate.pk).exists():
            raise Refused(_("This revision exists already."), field="revision")
        _check_plies(plies, resin)
        laminate = laminate or Laminate()
        laminate.code, laminate.revision, laminate.name = code, revision, name
        laminate.resin, laminate.design, laminate.recipe = resin, design, recipe
        laminate.fiber_fraction_ppm, laminate.loss_ppm = fiber_fraction_ppm, loss_ppm
        laminate.spread_ppm, laminate.core_uptake = spread_ppm, core_uptake
        laminate.full_clean()
        laminate.save()
        _write_plies(laminate, plies)
        act.result = {"laminate": laminate.pk}
    return laminate


def _check_plies(plies, resin: Material) -> None:
    if not plies:
        raise Refused(_("A laminate has at least one ply."), field="plies")
    if resin.kind != MaterialKind.RESIN or not resin.density:
        message = _("Choose a resin whose density is on record.")
        raise Refused(message, field="resin")
    for _area, _mm2, material, _angle in plies:
        if material.kind not in LAID:
            message = _("%(code)s is neither reinforcement nor core.")
            raise Refused(message % {"code": material.code}, field="plies")
        core = material.kind == MaterialKind.CORE
        known = material.thickness_nm if core else material.areal_mass
        if not known or not material.density:
            message = _(
                "%(code)s lacks its density and its mass per area (core: thickness)."
            )
            raise Refused(message % {"code": material.code}, field="plies")


def _write_plies(laminate: Laminate, plies) -> None:
    laminate.plies.all().delete()
    Ply.objects.bulk_create(
        Ply(
            laminate=laminate,
            order=order,
            area_name=area,
            area_mm2=mm2,
            material=material,
            orientation=angle,
        )
        for order, (area, mm2, material, angle) in enumerate(plies, 1)
    )
