"""A row of the shop: chosen of a list while that is short, found by its name after.

A list of twenty thousand parts helps nobody and weighs two megabytes. Beyond `MOST`
the same field is one to type into: the server finds the row that is called so, or
offers the nearest ones below what was typed. No script has a part in it.
"""

import re
from functools import reduce

from django import forms
from django.db.models import Q
from django.forms.models import ModelChoiceIterator
from django.utils.translation import gettext_lazy as _

MOST = 80  # rows of a list
NEAREST = 12  # of what was typed


def words_of(text: str) -> set[str]:
    """Letters and digits that stand together, as no matter how they were written."""
    return {word.casefold() for word in re.findall(r"\w+", text)}


class Typed(str):
    """What was typed, not the key of a row."""

    __slots__ = ()


class SelectInput(forms.Select):
    """A list, or an input with the nearest rows below it; an address may name the key
    of a row in either case."""

    template_name = "forms/row_choice.html"
    field: "RowChoiceField"

    def value_from_datadict(self, data, files, name):
        key = super().value_from_datadict(data, files, name)
        return key or Typed((data.get(f"{name}-typed") or "").strip())

    def use_required_attribute(self, initial):
        return self.field.is_short and super().use_required_attribute(initial)

    def get_context(self, name, value, attrs):
        if self.field.is_short:
            self.choices = self.field.choices
            return super().get_context(name, value, attrs)
        context = forms.Widget.get_context(self, name, value, attrs)
        nearest = self.field.nearest(value) if isinstance(value, Typed) else []
        context["row_choice"] = {
            "typed": self.field.called(value),
            "nearest": [
                (row.pk, self.field.label_from_instance(row))
                for row in self.field.prepared(nearest)
            ],
        }
        return context


class ShortRows(ModelChoiceIterator):
    """The choices of a list, read once."""

    def __iter__(self):
        if self.field.empty_label is not None:
            yield ("", self.field.empty_label)
        for row in self.field.prepared(self.field.rows_of_list or []):
            yield self.choice(row)


class RowChoiceField(forms.ModelChoiceField):
    """A row of a model that says how its rows are `called`: by which columns, the one
    that names it first. A model that does not is chosen of a list, however long."""

    widget = SelectInput
    iterator = ShortRows
    default_error_messages = {
        "nobody": _("Nothing here is called that."),
        "near": _("Nothing here is called that: the nearest stand below."),
        "several": _("Several are called that: choose one below, or type more of it."),
    }

    def __init__(self, queryset, **named):
        super().__init__(queryset, **named)
        self._own_widget()

    def __deepcopy__(self, memo):
        copy = super().__deepcopy__(memo)
        copy._own_widget()
        return copy

    def _own_widget(self) -> None:
        if isinstance(self.widget, SelectInput):
            self.widget.field = self

    def _set_queryset(self, queryset):
        self.__dict__.pop("_rows_of_list", None)
        super()._set_queryset(queryset)

    queryset = property(forms.ModelChoiceField._get_queryset, _set_queryset)

    @property
    def columns(self) -> tuple[str, ...]:
        return getattr(self.queryset.model, "called_by", ())

    @property
    def rows_of_list(self) -> list | None:
        """The rows, read once; None where they are too many for a list."""
        if "_rows_of_list" not in self.__dict__:
            # Whether it is too long is asked in no order: else all are read and sorted.
            some = self.queryset.order_by().values("pk")[: MOST + 1]
            long = bool(self.columns) and len(some) > MOST
            self._rows_of_list = None if long else list(self.queryset.all())
        return self._rows_of_list

    @property
    def is_short(self) -> bool:
        return self.rows_of_list is not None

    def prepared(self, rows: list) -> list:
        """The rows about to be told; a field may look up here what it says of them."""
        return rows

    def called(self, value) -> str:
        """What the row of a key is called; what was typed as it was."""
        if isinstance(value, Typed) or value in self.empty_values:
            return value or ""
        named = self.queryset.order_by().values_list(self.columns[0], flat=True)
        try:
            return named.filter(pk=value).first() or ""
        except (ValueError, TypeError):
            return ""

    def nearest(self, text: str) -> list:
        """Rows in which every word is found; else those that begin like it."""
        if not text or "\0" in text:
            return []
        begins = Q(**{f"{self.columns[0]}__begins": text[:3]})
        rows = self.queryset.all()
        words = rows.filter(self._every_word(text))
        return [*words[:NEAREST]] or [*rows.filter(begins)[:NEAREST]]

    def _every_word(self, text: str) -> Q:
        wanted = Q()
        for word in text.split():
            wanted &= self._anywhere("says", word)
        return wanted

    def _has_words(self, row, text: str) -> bool:
        """Whether each typed word is a whole word of what the row is called."""
        names = (
            reduce(lambda at, name: getattr(at, name, ""), column.split("__"), row)
            for column in self.columns
        )
        return words_of(text) <= words_of(" ".join(map(str, names)))

    def _anywhere(self, lookup: str, text: str) -> Q:
        condition = Q()
        for column in self.columns:
            condition |= Q(**{f"{column}__{lookup}": text})
        return condition

    def to_python(self, value):
        if not isinstance(value, Typed) or not value or not self.columns:
            return super().to_python(value)
        if "\0" in value:
            raise forms.ValidationError(self.error_messages["nobody"], code="nobody")
        rows = self.queryset.all()
        exactly = [*rows.filter(self._anywhere("named", value))[:2]]
        if len(exactly) > 1:  # of names that differ by case the one as it was typed
            exactly = [*rows.filter(self._anywhere("exact", value))[:2]] or exactly
        if len(exactly) == 1:
            return exactly[0]
        matches = exactly or [*rows.filter(self._every_word(value))[:2]]
        # P-100 is not P-1001: what only has it in its name is offered, never taken.
        if len(matches) == 1 and self._has_words(matches[0], value):
            return matches[0]
        several = len(matches) > 1
        code = "several" if several else "near" if self.nearest(value) else "nobody"
        raise forms.ValidationError(self.error_messages[code], code=code)
