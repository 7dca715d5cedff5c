"""What is known of a plan, as plain values for programs: mm."""

from qa.numeric.plan.known import Known
from qa.numeric.plan.result import Plan
from qa.wording.plans import held_name


def known(plan: Plan) -> dict:
    known_of_plan = plan.known
    return {
        "measure_again": known_of_plan.again and _again(known_of_plan.again),
        "between_stations": [
            {
                "kind": known.kind,
                "worst": _round(known.worst),
                "value_mm": _round(known.value),
                "near": list(known.span),
                "conforms": known.conforms,
            }
            for known in known_of_plan.between
        ],
        **moves_and_settings(known_of_plan),
        "cuts": [_cut(cut) for cut in known_of_plan.cuts],
        "hardly_seen": [
            {
                "motion": held_name(known.name),
                "u_mm": _round(known.u),
                "measure": [
                    {"station": label, "kind": known.kind}
                    for _, label in known.stations
                ],
            }
            for known in known_of_plan.hardly_seen
        ],
    }


def moves_and_settings(known_of_plan: Known) -> dict:
    """How well each move and setting is known: both ends of its 95 % interval."""
    return {
        "moves": [
            {"motion": move.name, "amount": _round(move.value)}
            | _ends(move.value, move)
            for move in known_of_plan.moves
        ],
        "settings": [
            {"name": setting.name, "change_mm": _round(setting.value)}
            | {f"{end}_mm": mm for end, mm in _ends(setting.value, setting).items()}
            for setting in known_of_plan.settings
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


def _ends(value: float, interval) -> dict:
    return {"low": _round(value - interval.half), "high": _round(value + interval.half)}


def _cut(cut) -> dict:
    return {
        "station": cut.label,
        "trim_mm": _round(cut.trim),
        "low_mm": _round(max(0.0, cut.trim - cut.half)),
        "high_mm": _round(cut.trim + cut.half),
        "bite_mm": _round(cut.bite),
        "bite_low_mm": _round(max(0.0, cut.bite - cut.bite_half)),
        "bite_high_mm": _round(cut.bite + cut.bite_half),
    }


def _round(value: float | None) -> float | None:
    return None if value is None else round(float(value), 6) + 0.0
