"""Columns in a statement are told apart by their name.

Django hashes every column that is selected wherever rows are asked for in an order, and
to do so binds the signature of its class anew for each: a tenth of what it takes to put
a statement together. Two columns that are equal have the same name, so that it does.
"""

from django.db.models.expressions import Col


def hash_by_name() -> None:
    Col.__hash__ = lambda column: hash((column.alias, column.target.name))
