"""Projections: what pages read of a history, made again from the facts.

A family registers the rows that follow from the facts. `differences` compares them with
what is stored: verify names them, `rebuild` mends them. Nothing is known only there.
"""

from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from operator import attrgetter

from django.db import models

from .acts import writing

CHUNK = 2000


@dataclass(frozen=True)
class Family:
    """Projections made in one run over the facts.

    keys: per model the columns that name a row, beside any key that only numbers it.
    rows: gives the rows of all models; those of one model in the order of its key.
    plain: where they are many a tuple of the columns by name costs a tenth of a model;
    says of which model one is, `as_row` makes it of one.
    """

    keys: dict[type[models.Model], tuple[str, ...]]
    rows: Callable[[], Iterator]
    plain: dict[type, type[models.Model]] = field(default_factory=dict)


@dataclass(frozen=True)
class Difference:
    """A row that is not as the facts say: missing, extra, or other in some columns."""

    stored: models.Model | None
    wanted: models.Model | None
    columns: tuple[str, ...] = ()

    def words(self) -> Iterator[str]:
        """Say what is not as it should be, column by column."""
        row = self.stored or self.wanted
        table = row._meta.db_table
        if self.stored is None:
            yield f"{table}: the facts say {row}, and there is no such row"
        elif self.wanted is None:
            yield f"{table} {row.pk} follows from no fact"
        for name in self.columns:
            now, then = getattr(self.stored, name), getattr(self.wanted, name)
            yield f"{table} {row.pk}: {name} is {now!r}, the facts say {then!r}"


FAMILIES: list[Family] = []


def register(family: Family) -> None:
    if family not in FAMILIES:
        FAMILIES.append(family)


def projected() -> set[type[models.Model]]:
    return {model for family in FAMILIES for model in family.keys}


def differences(families: list[Family] | None = None) -> Iterator[Difference]:
    """Give every projected row that is not as the facts say (None: of all families)."""
    for family in FAMILIES if families is None else families:
        stored = {model: _Stored(model, key) for model, key in family.keys.items()}
        by_type = {**stored, **{t: stored[m] for t, m in family.plain.items()}}
        for wanted in family.rows():
            yield from by_type[type(wanted)].up_to(wanted)
        for rest in stored.values():
            yield from rest.all()


def _all_of(names: tuple[str, ...]) -> Callable[[object], tuple]:
    """What gives these columns of a row, as a tuple also where it is one."""
    if len(names) > 1:
        return attrgetter(*names)
    (name,) = names
    return lambda row: (getattr(row, name),)


class _Stored:
    """The rows of one projection as they are, in the order of their key: plain columns,
    of which a model is made only where something differs."""

    def __init__(self, model, key: tuple[str, ...]):
        self._model = model
        numbers = model._meta.auto_field
        fields = [column for column in model._meta.concrete_fields if column != numbers]
        self._columns = [column.attname for column in fields]
        self._wanted_name, self._wanted = _all_of(key), _all_of(tuple(self._columns))
        self._place = [self._columns.index(name) for name in key]
        rows = model._base_manager.order_by(*key).values_list(*self._columns, "pk")
        self._rows = rows.iterator(CHUNK)
        self._read()

    def _read(self) -> None:
        self._next = row = next(self._rows, None)
        self._name = row and tuple([row[place] for place in self._place])

    def _take(self) -> models.Model:
        *values, key = self._next
        self._read()
        return self._model(**dict(zip(self._columns, values, strict=True)), pk=key)

    def up_to(self, wanted) -> Iterator[Difference]:
        name = self._wanted_name(wanted)
        while self._next is not None and self._name < name:
            yield Difference(self._take(), None)
        if self._next is None or self._name != name:
            yield Difference(None, _row(wanted))
        elif self._next[:-1] == self._wanted(wanted):
            self._read()
        else:
            now, then = self._next, self._wanted(wanted)
            columns = tuple(
                column
                for column, value, other in zip(self._columns, now, then, strict=False)
                if value != other
            )
            yield Difference(self._take(), _row(wanted), columns)

    def all(self) -> Iterator[Difference]:
        while self._next is not None:
            yield Difference(self._take(), None)


def _row(wanted) -> models.Model:
    return wanted if isinstance(wanted, models.Model) else wanted.as_row()


def rebuild() -> Counter[str]:
    """Mend every projection; return how many rows of each table were not right.

    A row that only differs keeps its number, which acts may have named.
    """
    with writing():
        wrong = list(differences())
        wanted: dict[type, list] = {}
        for difference in wrong:
            if difference.stored:
                type(difference.stored)._base_manager.filter(
                    pk=difference.stored.pk
                ).delete()
            if difference.stored and difference.wanted:
                difference.wanted.pk = difference.stored.pk
            if difference.wanted:
                wanted.setdefault(type(difference.wanted), []).append(difference.wanted)
        for model, rows in wanted.items():
            model._base_manager.bulk_create(rows)
    return Counter(
        (difference.stored or difference.wanted)._meta.db_table for difference in wrong
    )
