"""Zero has no sign, wherever a number becomes text."""

import ast
import re
from pathlib import Path

import pytest

from qa.drawing import svg
from qa.management import plan_output
from qa.management.commands import check_fit, plan_fit, plan_holes
from qa.numeric.geometry.joint import Limits, Station, build_joint
from qa.numeric.holes.rigid_fit import RigidFit
from qa.numeric.plan.planner import plan_fit as planned
from qa.numeric.plan.result import PlanOptions
from qa.queries.tablet import carried_checks as tablet
from qa.wording import lengths
from shop.models import ResinBatch
from shop.numeric.units import format_length

TREE = Path(__file__).resolve().parents[2]
MINUS_ZERO = re.compile(r"[-−]0*\.?0*(?![0-9.])")
ALMOST = (-1e-9, -0.0, -4e-8)


def drifted(value):
    return RigidFit(value, value, value, 0.0, 0.0, (0.0, 0.0))


@pytest.mark.parametrize(
    "text",
    [
        *(plan_holes._moved(drifted(value)) for value in ALMOST),
        str(plan_holes._move(drifted(-0.0))),
        *(svg.n(value) for value in (-0.001, -0.0, -0.004)),
        *(tablet._celsius(milli) for milli in (-4, 0, -49)),
        *(ResinBatch(off_bp=off).off_percent for off in (-4, 0)),
        *(format_length(nm, "mm", 2) for nm in (-4, 0, -4_999)),
        *(format_length(nm, "in", 3) for nm in (-4, 0, -12_000)),
        *(lengths.on_map(nm, "mm", signed=True) for nm in (-4, 0, -4_999)),
        *(lengths.length(nm) for nm in (-4, 0)),
        *(lengths.limits(nm, 4, "mm") for nm in (-4, 0)),
        *(check_fit._decimals(nm) for nm in (0,)),
        *(str(plan_output.rounded(value)) for value in ALMOST),
    ],
)
def test_a_number_that_rounds_to_zero_has_no_sign(text):
    assert not MINUS_ZERO.search(text), text


def test_a_plan_that_moves_nothing_says_so_without_a_sign():
    """A joint in the middle of its limits: what the solver leaves is no move."""
    places = [(0, 0), (100, 0), (200, 0), (300, 5)]
    joint = build_joint(
        [
            Station(
                str(row),
                (float(x), float(y), 0.0),
                gap=Limits(1, 2),
                flush=Limits(-1, 1),
            )
            for row, (x, y) in enumerate(places)
        ],
        closed=False,
    )
    plan = planned(joint, [1.5] * 4, [0.0] * 4, PlanOptions())
    told = "\n".join(plan_fit.text_lines(plan))
    assert not MINUS_ZERO.search(told), told


def signed_formats():
    """(file, line, format) of every number that is written with its sign."""
    for path in [*(TREE / "qa").rglob("*.py"), *(TREE / "shop").rglob("*.py")]:
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(node, ast.FormattedValue) and node.format_spec:
                spec = "".join(
                    part.value
                    for part in node.format_spec.values
                    if isinstance(part, ast.Constant)
                )
                if "+" in spec and spec[-1:] in "fg":
                    yield f"{path.relative_to(TREE)}:{node.lineno}", spec


def test_what_is_written_with_a_sign_gives_zero_none():
    found = dict(signed_formats())
    assert found
    assert {place: spec for place, spec in found.items() if "z" not in spec} == {}
