"""What is known of a plan, as plain values for programs: mm."""

from qa.numeric.plan.result import Plan
from qa.wording.plans import held


def known(plan: Plan) -> dict:
    found = plan.known
    again = found.again
    return {
        "measure_again": again
        and {
            "station": again.label,
            "kind": again.kind,
            "read_mm": _round(again.read),
            "expected_mm": _round(again.expected),
            "expected_u_mm": _round(again.expected_u),
            "stands_out": again.stands_out,
        },
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


def _round(value: float | None) -> float | None:
    return None if value is None else round(float(value), 6) + 0.0
