"""From the desk's form to the two acts that a check starts with."""

from qa.actions import checks, fitups


def start(
    *,
    by,
    airframe,
    joint,
    last,
    refit,
    held,
    held_note,
    part,
    surround_part,
    temperature,
    **condition,
):
    """Open the next fit-up, unless nothing changed since the last, and a check."""
    if refit == "same":
        fit_up = last
    else:
        fit_up = fitups.open_fit_up(
            by=by,
            airframe=airframe,
            joint=joint,
            part=part,
            surround_part=surround_part,
            reason=refit,
            held=[
                {"kind": kind, "where": held_note if n == 0 else "", "count": 0}
                for n, kind in enumerate(held)
            ],
        )
    return checks.start_check(
        by=by, fit_up=fit_up, temperature_mc=temperature, **condition
    )
