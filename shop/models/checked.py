"""A row is checked with one statement, where Django asks for each row that it refers to
and three for each check."""

from django.core.exceptions import ValidationError
from django.db import DEFAULT_DB_ALIAS, DatabaseError, connections, models
from django.db.models.functions import Coalesce
from django.db.models.sql import Query

from .prepared_statements import built_for, cursor_of


class Checked(models.Model):
    """A row whose fields are checked without asking the database for a row that was
    read from it (whether it is still there, the key says at the end of the act), and
    whose checks are asked all at once; where one does not hold, Django finds which."""

    class Meta:
        abstract = True

    def clean_fields(self, exclude=None):
        read = {
            field.name
            for field in self._meta.concrete_fields
            if field.remote_field and field.is_cached(self)
            if (row := getattr(self, field.name)) and not row._state.adding
        }
        super().clean_fields(read.union(exclude or ()))

    def get_constraints(self):
        constraints = super().get_constraints()
        if not _all_hold(self):
            return constraints
        return [
            # Checks of a parent or of what it is a proxy of were not asked.
            (model, [x for x in rules if model is not type(self) or not _is_check(x)])
            for model, rules in constraints
        ]


class Given(models.Expression):
    """What a field of the row holds."""

    def __init__(self, field: models.Field):
        super().__init__(output_field=field)
        self.field_given = field

    def as_sql(self, compiler, connection):
        return "%s", [self]


class _Checks:
    """All checks of a model as one statement, which finds a row where all hold: as
    Django has it, what is neither true nor false holds."""

    def __init__(self, model, at):
        query = Query(None)
        for field in model._meta.local_concrete_fields:
            query.add_annotation(Given(field), field.name, select=False)
        query.add_annotation(models.Value(1), "_check")
        for rule in filter(_is_check, model._meta.constraints):
            holds = Coalesce(rule.condition, True, output_field=models.BooleanField())
            query.add_q(models.Q(holds))
        self.sql, self.params = query.get_compiler(connection=at).as_sql()


def _is_check(rule) -> bool:
    return isinstance(rule, models.CheckConstraint)


def _all_hold(row: models.Model) -> bool:
    """Whether all checks hold for sure; False where what a field holds is none of its
    values. A check must not fail by itself (divide, cast): there is no savepoint, and
    PostgreSQL would give up the transaction."""
    if not any(map(_is_check, row._meta.constraints)):
        return True
    at = connections[DEFAULT_DB_ALIAS]
    checks = built_for(at, ("checks", type(row)), lambda: _Checks(type(row), at))
    try:
        held = [_held(row, param, at) for param in checks.params]
        with cursor_of(at, once=True) as cursor:
            cursor.execute(checks.sql, held)
            return cursor.fetchone() is not None
    except (DatabaseError, ValidationError, OverflowError, TypeError, ValueError):
        return False


def _held(row, param, at):
    if not isinstance(param, Given):
        return param
    field = param.field_given
    value = getattr(row, field.attname)
    if hasattr(value, "resolve_expression"):
        raise TypeError("an expression")
    return field.get_db_prep_value(value, at)
