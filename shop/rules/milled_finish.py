"""What the milling of a surface leaves for sanding."""

from shop.numeric import milling


def finish_of(setup, play_nm: int | None) -> list[milling.SlopeFinish]:
    """Scallop and striation of a milling set-up at its slopes.

    One-way passes leave no striation from play. Slopes where the passes do not meet
    are left out.
    """
    play = 0 if setup.one_way else (play_nm or 0) / 1e6
    found = []
    for slope in setup.slopes:
        try:
            found += milling.finish_at_slopes(
                setup.radius_nm / 1e6,
                setup.stepover_nm / 1e6,
                play,
                (setup.sanding_nm or 0) / 1e6,
                [slope],
            )
        except milling.MillingError:
            continue
    return found
