"""The kinds of defect beside fit that the shop names: its own list."""

from django.utils.translation import gettext as _

from qa.models import DefectKind
from shop import roles
from shop.ledger import Refused, perform

# Words of the trade to begin with; a shop adds its own, and leaves out others.
USUAL = (
    "bridging", "crack", "crushed core", "dent", "disbond", "dry spot",
    "edge delamination", "foreign object", "hole", "hole misplaced", "pinholes",
    "resin-rich", "scratch", "uncured spot", "void", "wrinkle", "wrong part",
    "wrong ply",
)  # fmt: skip


def save_kind(
    *, by, name: str, in_use: bool = True, kind: DefectKind | None = None
) -> DefectKind:
    """Add a kind of defect, or change one: items raised with it show its new name."""
    roles.require(by, "define defects")
    content = {"name": name, "in_use": in_use, "kind": kind and kind.pk}
    with perform("defect_kind/1", by=by, said=content) as act:
        kind = kind or DefectKind()
        kind.name, kind.in_use = name.strip(), in_use
        kind.full_clean()
        kind.save()
        act.result = {"kind": kind.pk}
    return kind


def add_usual(*, by) -> list[DefectKind]:
    """Begin with the words of the trade that are not on the list yet."""
    roles.require(by, "define defects")
    with perform("defect_kinds/1", by=by) as act:
        there = {
            name.lower() for name in DefectKind.objects.values_list("name", flat=True)
        }
        names = [name for name in USUAL if name not in there]
        if not names:
            raise Refused(_("All of them are on the list."), code="done")
        rows = [DefectKind.objects.create(name=name) for name in names]
        act.result = {"kinds": [row.pk for row in rows]}
    return rows
