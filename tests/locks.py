"""Which rows each action holds while it decides, seen as it runs, on any database."""

import contextlib
import sys
from collections import defaultdict
from pathlib import PurePath

from django.db.models.sql.compiler import SQLCompiler

from shop.models.prepared_statements import Prepared


@contextlib.contextmanager
def recorded():
    """Collect {"qa.trimming.release_cut": {"Part"}}: SQLite takes no locks on rows, so
    it is the query that is asked."""
    held = defaultdict(set)
    usual = SQLCompiler.execute_sql

    def watched(self, *arguments, **named):
        if self.query.select_for_update:
            held[action()].add(self.query.model.__name__)
        return usual(self, *arguments, **named)

    def watched_prepared(self, **values):
        query = self._build().query
        if query.select_for_update:
            held[action()].add(query.model.__name__)
        return usual_prepared(self, **values)

    usual_prepared = Prepared.rows
    SQLCompiler.execute_sql, Prepared.rows = watched, watched_prepared
    try:
        yield held
    finally:
        SQLCompiler.execute_sql, Prepared.rows = usual, usual_prepared


def action() -> str:
    """The innermost function of the actions that is running, but for `locks`."""
    frame = sys._getframe()
    while frame:
        place = PurePath(frame.f_code.co_filename)
        if place.parent.name == "actions" and place.stem != "locks":
            return f"{place.parts[-3]}.{place.stem}.{frame.f_code.co_name}"
        frame = frame.f_back
    return "elsewhere"
