"""Rows that acts set, and rows that follow from facts: what the ledger binds how."""

import contextlib
import threading
from collections import defaultdict

from django.db import models
from django.db.models.signals import post_delete

from .checked import Checked

_local = threading.local()


class OutsideAnAct(RuntimeError):
    """A row that an entry must bind was changed where no entry is being written."""


@contextlib.contextmanager
def binding():
    """Collect the kept rows that change inside: {model: {key}}, also those deleted."""
    outer = getattr(_local, "changed", None)
    _local.changed = changed = defaultdict(set)
    try:
        yield changed
    finally:
        _local.changed = outer


def _collected(model) -> set:
    changed = getattr(_local, "changed", None)
    if changed is None:
        raise OutsideAnAct(
            f"{model._meta.db_table} is bound to an entry: change it inside of "
            "perform(...)"
        )
    return changed[model._meta.concrete_model]


def _binds(model, names) -> bool:
    """Whether an entry must bind a change of these columns (None: of all)."""
    return names is None or not set(names) <= set(model.not_bound)


class KeptRows(models.QuerySet):
    """Statements on many rows tell which rows they changed."""

    def update(self, **columns):
        if not _binds(self.model, columns):
            return super().update(**columns)
        keys = set(self.order_by().values_list("pk", flat=True))
        _collected(self.model).update(keys)
        # Just those: a row that comes to match in the meantime would change unseen.
        return super(KeptRows, self.filter(pk__in=keys)).update(**columns)

    def bulk_create(self, objs, *args, **options):
        if options.get("ignore_conflicts") or options.get("update_conflicts"):
            raise OutsideAnAct("which rows that leaves nobody can tell")
        changed = _collected(self.model)
        rows = super().bulk_create(objs, *args, **options)
        changed.update(row.pk for row in rows)
        return rows


class Kept(Checked):
    """A row that acts set: the entry of each act holds the columns it left.

    Nothing is to be done for it but to save inside of `perform`. `not_bound` names the
    columns that are no statement of anybody (when somebody was last seen);
    `bound_by_digest` those of which an entry holds a digest only, being secret.
    """

    not_bound: tuple[str, ...] = ()
    bound_by_digest: tuple[str, ...] = ()

    objects = KeptRows.as_manager()

    class Meta:
        abstract = True

    def save(self, *args, update_fields=None, **options):
        if not _binds(type(self), update_fields):
            super().save(*args, update_fields=update_fields, **options)
            return
        changed = _collected(type(self))
        super().save(*args, update_fields=update_fields, **options)
        changed.add(self.pk)


def _deleted(sender, instance, **_) -> None:
    _collected(sender).add(instance.pk)


def watch_deletions(all_models) -> None:
    """Called once, when the models are loaded: cascades pass by every method."""
    for model in all_models:
        if issubclass(model, Kept):
            post_delete.connect(_deleted, sender=model, dispatch_uid="kept")


class Projection(models.Model):
    """Rows that follow from facts. `shop.ledger.projections` makes them again."""

    class Meta:
        abstract = True
