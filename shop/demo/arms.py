"""Where the weight of each position of the demo acts, aft of its datum."""

from shop.actions import weights

from .times import mm

# Position code, arm in mm from a datum at the firewall.
ARMS = (
    ("FUS", "1650"),
    ("DOOR-L", "1120"),
    ("DOOR-R", "1120"),
    ("WS", "780"),
    ("COWL-U", "-420"),
    ("COWL-L", "-400"),
    ("HATCH-B", "2050"),
    ("WING-L", "1390"),
    ("WING-R", "1390"),
)


def load(people, positions) -> None:
    for code, text in ARMS:
        if code in positions:
            weights.set_arm(by=people["emil"], position=positions[code], arm=mm(text))
