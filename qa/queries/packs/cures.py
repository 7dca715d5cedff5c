"""The cures of a pack: of every pull that its parts came from, each with its trace."""

from dataclasses import dataclass

from qa.queries.issue import local
from qa.queries.packs.scope import Scope
from shop.models import CureTrace, Pull
from shop.queries.cure_plot import Plot, plot
from shop.rules.cures import trace_of
from shop.rules.lineage import edges_of
from shop.wording.cures import rows as words_of


@dataclass(frozen=True)
class PackCure:
    """The newest trace of a pull, drawn against its recipe; `plot` is None where there
    is no trace, and `state` then says so."""

    pull: str
    recipe: str
    state: str
    file_name: str
    sha256: str
    by: str
    complaints: tuple[str, ...]
    plot: Plot | None


@dataclass(frozen=True)
class Cures:
    key = "cures"
    cures: tuple[PackCure, ...]

    @property
    def data(self) -> list:
        return [
            {
                "pull": cure.pull,
                "recipe": cure.recipe,
                "state": cure.state,
                "file": cure.file_name,
                "sha256": cure.sha256,
                "by": cure.by,
                "complaints": list(cure.complaints),
            }
            for cure in self.cures
        ]


def section(scope: Scope) -> Cures:
    pulls = edges_of({part.pk for part in scope.parts}).pulls
    newest: dict[int, CureTrace] = {}
    rows = CureTrace.objects.filter(pull__in=pulls).select_related(
        "recipe", "entry__by"
    )
    for row in rows.order_by("pk"):
        newest[row.pull_id] = row
    order = sorted(pulls.values(), key=lambda pull: (pull.tool.code, pull.number))
    return Cures(
        tuple(
            _cure(pull, newest.get(pull.pk))
            for pull in order
            if pull.pk in newest or pull.laminate.recipe_id
        )
    )


def _cure(pull: Pull, trace: CureTrace | None) -> PackCure:
    label = f"{pull.tool.code}-{pull.number}"
    if trace is None:
        recipe = pull.laminate.recipe
        asked = f"{recipe.name}: {recipe.words}"
        return PackCure(label, asked, "no cure on record", "", "", "", (), None)
    return PackCure(
        pull=label,
        recipe=f"{trace.recipe.name}: {trace.recipe.words}",
        state=str(trace.state.label),
        file_name=trace.file_name,
        sha256=trace.sha256,
        by=f"{trace.entry.author}, {local(trace.entry.received_at)}",
        complaints=tuple(map(_asked, words_of(trace.complaints))),
        plot=plot(trace_of(trace), trace.recipe),
    )


def _asked(rule: dict) -> str:
    """One requirement of the recipe: what was asked, found, and what came of it."""
    sensor = f" ({rule['sensor']})" if rule["sensor"] else ""
    reading = f"found {rule['found']}{sensor}" if rule["found"] else ""
    words = (f"{rule['name']}: {rule['asked']}", reading, rule["outcome"], rule["why"])
    return "; ".join(str(word).replace("_", " ") for word in words if word)
