"""What is on the demo's first airframe for a while: clecos in holes, film, props, a
mock-up, something borrowed; some out, one not found, one released, one found again."""

from qa.actions.temporary import put_in, step, take_out_of_holes
from qa.models import HolePattern
from shop.models import TemporaryState

WHY_FIT = "holds the part while it is fitted"


def load(crew, glider, seams) -> None:
    first = glider.airframes["MG2-001"]
    bays = glider.positions
    bea, tomas = crew["bea"], crew["tomas"]

    def put(by, bay, kind, count, why, **more):
        common = {"by": by, "airframe": first, "bay": bays[bay], "why": why}
        return put_in(kind=kind, count=count, **common, **more)

    _clecos(crew, first, seams)
    put(bea, "DOOR-L", "film", 1, "against scratches", place="window, inside")
    put(tomas, "DOOR-L", "tape", 3, "marks the trim line", joint=seams["J-101"])
    put(bea, "FUS", "prop", 2, "holds the shell to its shape", place="frame 4")
    put(bea, "FUS", "board", 1, "to kneel on", place="floor of the cabin")
    put(tomas, "FUS", "strap", 2, "holds the spar box", place="frame 6")
    put(tomas, "FUS", "hole", 4, "held the halves together", place="seam, frame 2 to 3")
    put(tomas, "COWL-U", "shim", 2, "sets the gap to the spinner", place="front")
    put(tomas, "COWL-L", "packing", 1, "keeps the duct dry", place="inlet duct")
    put(bea, "FUS", "ballast", 10, "stands for the pilot", size="5 kg", place="seat")
    put(
        tomas,
        *("FUS", "mock_up", 1, "the real one is not here yet"),
        stands_for="throttle quadrant",
    )
    put(bea, "WS", "borrowed", 1, "no pump of our own", owner="hall 3", place="sill")
    clamps = put(bea, "FUS", "clamp", 8, WHY_FIT, place="frame 5, around")
    filled = put(tomas, "CAP", "hole", 2, "centered the cap", place="rim")
    _then(tomas, filled, "take_out", 2)
    _then(bea, clamps, "take_out", 5)
    _then(bea, clamps, "miss", 2, note="not at frame 5")
    _then(tomas, clamps, "find", 1, note="under the floor board")
    tape = put(bea, "HATCH-B", "tape", 4, "over the hinge while it was primed")
    _then(bea, tape, "take_out", 3)
    _then(bea, tape, "miss", 1, note="one strip less than went on")
    why = "torn in two when it came off; both halves seen in the bin"
    _then(crew["ines"], tape, "release", 1, note=why)


def _then(by, item, verb, count, **more) -> None:
    seen = TemporaryState.objects.get(pk=item.pk).last_entry_id
    step(by=by, item=item, verb=verb, count=count, based_on=seen, **more)


def _clecos(crew, airframe, seams) -> None:
    """Ten holes of the fairing: every other one has a cleco in, some came out."""
    pattern = HolePattern.objects.filter(joint__type=airframe.type).first()
    pattern = pattern or HolePattern.objects.exclude(current=None)[0]
    labels = list(pattern.current.holes.values_list("label", flat=True))
    at = {"by": crew["tomas"], "airframe": airframe, "kind": "cleco", "why": WHY_FIT}
    place = pattern.joint.position if pattern.joint else seams["J-110"].position
    for size, spots in (("1/8 in", labels[:-1]), ("3/16 in", labels[-1:])):
        put_in(
            **at,
            bay=place,
            joint=pattern.joint,
            pattern=pattern,
            size=size,
            spots=spots,
            count=len(spots),
        )
    out = {"by": crew["bea"], "airframe": airframe, "pattern": pattern}
    take_out_of_holes(**out, spots=labels[:1], note="to look under the edge")
