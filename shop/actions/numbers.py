"""Human numbers, given by the server, each once."""

from django.db import connection

from shop.models import Counter


def next_number(scope: str) -> int:
    """Return the next number of a scope. Call inside a write transaction."""
    with connection.cursor() as cursor:
        # One statement that both databases run atomically: no gap between look and
        # take for a second tablet to slip into.
        cursor.execute(
            f"INSERT INTO {Counter._meta.db_table} (scope, last) VALUES (%s, 1) "  # noqa: S608 -- our own name
            "ON CONFLICT (scope) DO UPDATE "
            f"SET last = {Counter._meta.db_table}.last + 1 RETURNING last",
            [scope],
        )
        return cursor.fetchone()[0]
