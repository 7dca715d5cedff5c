"""Moves without a cut: the part is set somewhere else in its opening."""

from qa.models import Check, FitUp, FitUpReason, MoveKind
from shop import roles
from shop.ledger import Refused, perform

from . import steps
from .trimming import Moved, record_moves


def record_move(
    *, by, checks: list[Check], moved: Moved, note: str = "", **envelope
) -> list[FitUp]:
    """Record a move, and open the next fit-up of every joint it was planned for."""
    roles.require(by, "cut parts")
    if not any(float(one["amount"]) for one in moved.amounts):
        raise Refused("Nothing was moved: there is nothing to record.")
    envelope.setdefault(
        "said",
        {
            "checks": [str(check.entry_id) for check in checks],
            "amounts": moved.amounts,
            "note": note,
        },
    )
    with perform("move/1", by=by, **envelope) as act:
        fit_ups = [check.fit_up for check in checks]
        steps.hold_still(fit_ups)
        record_moves(act, checks, moved, MoveKind.MOVE)
        opened = steps.open_next(
            by=by, fit_ups=fit_ups, reason=FitUpReason.MOVE, note=note
        )
        act.result = {"fitups": [str(one.entry_id) for one in opened]}
    return opened
