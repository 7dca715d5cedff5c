"""Before which pull a tool may have been repaired."""

from django.db.models import QuerySet

from shop.models import Pull

MOST = 20
# How long a note may be: before it a record says by what and before which pull.
NOTE_MAX = 160


def pulls_since(tool: int, shown_at: int) -> QuerySet[Pull]:
    """The newest pulls after the one that shows what was repaired (0: none is said)."""
    return Pull.objects.filter(tool=tool, number__gt=shown_at).order_by("-number")[
        :MOST
    ]
