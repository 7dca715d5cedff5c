"""What is known of a plan, as plain values for programs: mm."""

from qa.numeric.plan.result import Plan
from qa.wording.plans import held


def known(plan: Plan) -> dict:
    found = plan.known
    return {
        "measure_again": found.again and _again(found.again),
        "between_stations": [
            {
                "kind": one.kind,
                "worst": _round(one.worst),
                "value_mm": _round(one.value),
                "near": list(one.span),
                "conforms": one.conforms,
            }
            for one in found.between
        ],
        "moves": [
            {"motion": one.name, "amount": _round(one.value)} | _ends(one.value, one)
            for one in found.moves
        ],
        "cuts": [_cut(one) for one in found.cuts],
        "hardly_seen": [
            {
                "motion": held(one.name),
                "u_mm": _round(one.u),
                "measure": [
                    {"station": label, "kind": one.kind} for _, label in one.stations
                ],
            }
            for one in found.hardly_seen
        ],
    }


def _again(doubt) -> dict:
    return {
        "station": doubt.label,
        "kind": doubt.kind,
        "read_mm": _round(doubt.read),
        "expected_mm": _round(doubt.expected),
        "expected_u_mm": _round(doubt.expected_u),
        "stands_out": doubt.stands_out,
    }


def _ends(value: float, one) -> dict:
    return {"low": _round(value - one.half), "high": _round(value + one.half)}


def _cut(one) -> dict:
    return {
        "station": one.label,
        "trim_mm": _round(one.trim),
        "low_mm": _round(max(0.0, one.trim - one.half)),
        "high_mm": _round(one.trim + one.half),
    }


def _round(value: float | None) -> float | None:
    return None if value is None else round(float(value), 6) + 0.0
