"""Codes of hole patterns in words."""

from collections.abc import Iterable

from django.utils.translation import gettext, ngettext
from django.utils.translation import gettext_lazy as _

from qa.wording import lengths

NAMED = 8

SPACING = {"edge": _("edge distance"), "pitch": _("pitch")}


def _few(labels: list[str]) -> str:
    more = ["…"] if len(labels) > NAMED else []
    return ", ".join([*labels[:NAMED], *more])


def title(pattern: str, labels: list[str]) -> str:
    """ "holes 3, 5 of HP-150 do not conform"."""
    sentence = ngettext(
        "hole %(holes)s of %(pattern)s does not conform",
        "holes %(holes)s of %(pattern)s do not conform",
        len(labels),
    )
    return sentence % {"holes": _few(labels), "pattern": pattern}


def place(serial: str, labels: list[str]) -> str:
    sentence = ngettext("hole %(holes)s", "holes %(holes)s", len(labels))
    return f"{serial}, {sentence % {'holes': _few(labels)}}"


def found(rows: Iterable, unit: str) -> str:
    """Readings with their holes: "3: position 0.52 mm of 0.40 mm; 5: hole 5.31 mm"."""
    return "; ".join(f"{row.hole.label}: {_one(row, unit)}" for row in rows)


def _one(row, unit: str) -> str:
    words = []
    if not row.position_conforms:
        text = gettext("position %(found)s, %(allowed)s allowed")
        words.append(
            text
            % {
                "found": lengths.length(row.position_nm, unit, 3),
                "allowed": lengths.length(row.allowed_nm, unit, 3),
            }
        )
    sized = row.sized or row
    if sized.size_conforms is False:
        text = gettext("hole %(size)s")
        words.append(text % {"size": lengths.length(sized.size_nm, unit, 3)})
    return ", ".join(words)


def to_raise(labels: list[str]) -> str:
    """What nobody raised yet; "" where nothing is left."""
    if not labels:
        return ""
    sentence = ngettext(
        "Hole %s does not conform, and nobody raised it yet: measure it again, or let "
        "somebody decide.",
        "Holes %s do not conform, and nobody raised them yet: measure them again, or "
        "let somebody decide.",
        len(labels),
    )
    return sentence % _few(labels)
