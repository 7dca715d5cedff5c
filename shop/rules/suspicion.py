"""How suspicion spreads: a hold that spreads reaches every part below its thing.

The same chain is walked either way (`reach`): down when a hold is put on, to the parts
there are; up when a part is made, to the holds that lie above it. Through another part
only a doubt that nobody decided yet goes on: what was found good hands nothing down.
"""

from collections.abc import Iterable

from shop.models import Hold, Part, Pull, Suspect

from .reach import reach


def parts_below(hold: Hold) -> set[int]:
    """Keys of the parts that a hold reaches, a part that is held itself included."""
    keys = reach(hold.subject_kind, hold.subject_id, down=True)["part"]
    return keys | {hold.subject_id} if hold.subject_kind == "part" else keys


def holds_above(made_of: Pull | Iterable[Part]) -> list[int]:
    """Keys of the holds that reach a part made now, of a pull or of other parts."""
    if not isinstance(made_of, Pull):
        doubts = Suspect.objects.filter(part__in=made_of, decided_entry=None)
        return sorted(set(doubts.values_list("hold", flat=True)))
    above = reach("pull", made_of.pk, down=False)
    above["pull"].add(made_of.pk)
    rows = Hold.objects.filter(lifted_entry=None, spreads=True).order_by("pk")
    return [row.pk for row in rows if row.subject_id in above.get(row.subject_kind, ())]
