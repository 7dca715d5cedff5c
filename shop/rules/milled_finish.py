"""What the milling of a surface leaves for sanding."""

from shop.numeric import milling
from shop.numeric.units import to_mm


def finish_of(setup, play_nm: int | None) -> list[milling.SlopeFinish]:
    """Scallop and striation of a milling set-up at its slopes.

    One-way passes leave no striation from play. Slopes where the passes do not meet
    are left out.
    """
    play = 0 if setup.one_way else to_mm(play_nm or 0)
    finishes = []
    for slope in setup.slopes:
        try:
            finishes += milling.finish_at_slopes(
                to_mm(setup.radius_nm),
                to_mm(setup.stepover_nm),
                play,
                to_mm(setup.sanding_nm or 0),
                [slope],
            )
        except milling.MillingError:
            continue
    return finishes
