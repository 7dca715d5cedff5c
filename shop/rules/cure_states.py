"""Which parts come from a pull of whose cure there is something to say."""

from collections.abc import Collection

from django.db import connection

from shop.models import Part, Pull

# What came of no pull or part is left out below: asked here, SQLite reads all edges.
_CAME_FROM = """
WITH RECURSIVE made(part, source) AS (
    SELECT id, id FROM shop_part WHERE id IN ({keys})
    UNION
    SELECT made.part, edge.source_id FROM made
    JOIN shop_lineage edge ON edge.part_id = made.source
)
SELECT DISTINCT made.part, edge.pull_id FROM made
JOIN shop_lineage edge ON edge.part_id = made.source
"""
MOST_KEYS = 500  # values that a statement takes on every database


def doubtful(parts: Collection[int]) -> dict[int, list[Pull]]:
    """By key of a part the pulls that it, or what it was made of, came from whose cure
    was not met, is open, or is not on record. Two statements for up to 500 parts."""
    keys = sorted(set(parts))
    came_from: dict[int, set[int]] = {}
    for start in range(0, len(keys), MOST_KEYS):
        some = keys[start : start + MOST_KEYS]
        with connection.cursor() as cursor:
            cursor.execute(_CAME_FROM.format(keys=", ".join(["%s"] * len(some))), some)
            for part, pull in cursor.fetchall():
                if pull is None:
                    continue
                came_from.setdefault(part, set()).add(pull)
    if not came_from:
        return {}
    rows = Pull.objects.filter(pk__in=set().union(*came_from.values()))
    rows = rows.select_related("tool", "laminate").order_by("pk")
    doubts = {pull.pk: pull for pull in rows if pull.cure_doubt}
    pulls_of = {
        part: [doubts[pull] for pull in sorted(pulls) if pull in doubts]
        for part, pulls in came_from.items()
    }
    return {part: pulls for part, pulls in pulls_of.items() if pulls}


def warnings_of(part: Part) -> list[str]:
    """What whoever places the part must give a reason for: a cure that was judged, and
    not as met. One that nobody recorded is told on its page."""
    return [
        pull.cure_doubt for pull in doubtful([part.pk]).get(part.pk, []) if pull.cure
    ]
