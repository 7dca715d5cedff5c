"""Cure traces: what the logger wrote, judged against the recipe of the laminate."""

import hashlib

from django.utils.translation import gettext as _

from shop import roles
from shop.ledger import Refused, perform
from shop.models import CureTrace, Person, Pull, PullState
from shop.numeric.cure_check import check_cure
from shop.numeric.cure_window import Outcome
from shop.numeric.trace import Trace
from shop.rules import cures
from shop.wording.cures import requirement_record

from .locks import locked

METHOD = "cure/3"  # 2: each sensor for as long as it speaks; 3: kept as codes


def record_trace(
    *,
    by: Person,
    pull: Pull,
    file_name: str,
    content: bytes,
    trace: Trace,
    recipe=None,
) -> CureTrace:
    """Keep a trace as it came and judge it; recipe defaults to the laminate's.

    `trace` is what was read from `content` (shop/files/cure_trace.py).
    """
    roles.require(by, "make pulls")
    digest = hashlib.sha256(content).hexdigest()
    recipe = recipe or pull.laminate.recipe
    if recipe is None:
        raise Refused(_("The laminate names no recipe: choose one."), field="recipe")
    judged = check_cure(trace, cures.window_of(recipe))
    details = {
        "pull": pull.pk,
        "file": file_name,
        "sha256": digest,
        "recipe": recipe.name,
    }
    with perform("trace/1", by=by, said=details) as act:
        pull = locked(pull)
        if pull.state == PullState.VOID:
            raise Refused(_("This pull was given up."), code="conflict")
        fact = act.record(
            CureTrace(
                pull=pull,
                recipe=recipe,
                file_name=file_name,
                text=content.decode("utf-8-sig"),
                sha256=digest,
                met=judged.outcome == Outcome.MET,
                method=METHOD,
                found={"outcome": judged.outcome.value, "lagging": judged.lagging},
                complaints=list(map(requirement_record, judged.requirements)),
            )
        )
        pull.cure = fact.state
        pull.save(update_fields=["cure"])
    return fact
