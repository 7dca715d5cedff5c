"""What a tablet sends, read field by field: a wrong one is named, none is guessed at.

An act is an envelope: {"form", "by", "made_at", "device", "seq", "said"}, with
"database" (which one the tablet knew when the act was made) and "claimed" (who made it
had not proven to be `by`). What no database can keep (a lone surrogate, a NUL, a number
beyond all bounds) is refused when the envelope is read, not by the row that it would
have come to.
"""

import json
import math
import re
import uuid

from shop.ledger import Refused
from shop.models.prepared_statements import Prepared

LONGEST = 64_000
# What an integer column holds on both databases.
LARGEST = 2**63 - 1
TEMPERATURE = re.compile(r"[+-]?[0-9]{1,3}(\.[0-9]{0,3})?", re.ASCII)
PARTS = (("form", 40), ("by", 60), ("made_at", 40), ("device", 64), ("database", 36))


class ActContent:
    """The content of an act, read field by field; a wrong one is named."""

    def __init__(self, content: dict):
        self._content = content

    def _get(self, name: str, kind: type, what: str, default):
        """Return a field that is left out, null or of its kind."""
        value = self._content.get(name)
        if value is None:
            return default
        if type(value) is not kind:
            raise Refused(f"{name} is {what}.", field=name)
        return value

    def text(self, name: str, longest: int = 400) -> str:
        what = f"a text of at most {longest} signs"
        value = self._get(name, str, what, "")
        if len(value) > longest:
            raise Refused(f"{name} is {what}.", field=name)
        return value.strip()

    def items(self, name: str, kind: type, what: str) -> list:
        """Return a list of things of one kind, at most 200."""
        value = self._get(name, list, what, [])
        if len(value) > 200 or any(type(item) is not kind for item in value):
            raise Refused(f"{name} is {what}.", field=name)
        return value

    def held(self) -> list[dict]:
        """How the part is held: [{"kind", "where", "count"}]."""
        holdings = self.items("held", dict, "a list of how the part is held")
        for item in holdings:
            row = ActContent(item)
            try:
                row.text("kind", 20), row.text("where", 120)
                row._get("count", int, "a whole number", 0)
            except Refused as no:
                raise Refused(no.message, field="held") from None
        return holdings

    def integer(self, name: str) -> int | None:
        """A whole number, of either sign, that every column holds; or none."""
        value = self._get(name, int, "a whole number", None)
        if value is not None and not -LARGEST <= value <= LARGEST:
            raise Refused(f"{name} is too large.", field=name)
        return value

    def flag(self, name: str) -> bool:
        return self._get(name, bool, "true or false", False)

    def whole(self, name: str) -> int:
        value = self._get(name, int, "a whole number", None)
        if value is None or not 0 <= value <= LARGEST:
            raise Refused(f"{name} is a whole number.", field=name)
        return value

    def temperature(self, name: str = "temperature") -> int | None:
        """Return thousandths of a degree; a sign, digits and one point, no more."""
        text = self.text(name, 12).replace(",", ".").replace("−", "-")
        if not text:
            return None
        if not TEMPERATURE.fullmatch(text):
            raise Refused("A temperature is a number in °C.", field=name)
        whole, _, part = text.lstrip("+-").partition(".")
        milli = int(whole + part.ljust(3, "0"))
        return -milli if text.startswith("-") else milli

    def row(self, name: str, queryset, *, key: str = "pk", missing_ok: bool = False):
        """Return the row that the act names, by number or by the act that made it."""
        model = queryset.model
        if self._leaves_out(name, missing_ok):
            return None
        try:
            if key == "pk":
                value = self._content[name]
                # True is a number to Python, and would be the first row of a table.
                if type(value) is not int or not 0 < value <= LARGEST:
                    raise ValueError
            else:
                value = self._act(name)
            return queryset.get(**{key: value})
        except (KeyError, ValueError, model.DoesNotExist):
            raise unknown(model, name) from None

    def row_of(
        self, name: str, prepared: Prepared, model, *, missing_ok=False, **values
    ):
        """As `row`, by the act that made it (its slot: act), as it is prepared."""
        if self._leaves_out(name, missing_ok):
            return None
        try:
            row = prepared.first(act=self._act(name), **values)
        except ValueError:
            row = None
        if row is None:
            raise unknown(model, name)
        return row

    def _leaves_out(self, name: str, missing_ok: bool) -> bool:
        return missing_ok and self._content.get(name) in (None, "")

    def _act(self, name: str) -> uuid.UUID:
        value = self._content.get(name)
        return uuid.UUID(value if isinstance(value, str) else "")


def unknown(model, name: str) -> Refused:
    kind = model._meta.verbose_name
    words = f"The server does not know this {kind}."
    return Refused(words, field=name, code="unknown")


def read_envelope(data: bytes) -> dict:
    """Return the envelope of an act; Refused says what is wrong with it."""
    if len(data) > LONGEST:
        raise Refused("The act is too large.", code="too_large")
    return check_envelope(parse(data))


def parse(data: bytes):
    """Return what a JSON text says; Refused when it is none."""

    def no_constant(name):
        raise ValueError(f"{name} is no number")

    try:
        return json.loads(data, parse_constant=no_constant)
    except (ValueError, RecursionError) as error:
        raise unreadable(error) from None


def unreadable(error) -> Refused:
    return Refused(f"This cannot be read: {error}.", code="unreadable")


def check_keepable(content) -> None:
    """Refuse a text or a number that a database could not keep, however deep it is."""
    try:
        _check_keepable(content)
    except (ValueError, RecursionError) as error:
        raise unreadable(error) from None


def _check_keepable(content) -> None:
    if isinstance(content, str):
        if "\0" in content:
            raise ValueError("a NUL is no sign of a text")
        if not content.isascii() and any("\ud800" <= c <= "\udfff" for c in content):
            raise ValueError("half a sign (a lone surrogate) is no text")
    elif isinstance(content, float):
        if not math.isfinite(content):
            raise ValueError("a number beyond all bounds")
    elif isinstance(content, dict):
        for name, value in content.items():
            _check_keepable(name)
            _check_keepable(value)
    elif isinstance(content, list):
        for value in content:
            _check_keepable(value)


def check_envelope(envelope) -> dict:
    """Return an envelope whose every part has its kind; Refused says which lacks."""
    if not isinstance(envelope, dict) or not isinstance(envelope.get("said"), dict):
        raise Refused("An act is an object with form, by and said.", code="unreadable")
    check_keepable(envelope)
    for name, longest in PARTS:
        value = envelope.setdefault(name, "")
        if not isinstance(value, str) or len(value) > longest:
            raise Refused(f"{name} is a text.", field=name, code="unreadable")
    seq = envelope.setdefault("seq", None)
    if not (seq is None or (type(seq) is int and 0 <= seq < 2**53)):
        raise Refused("seq is a whole number.", field="seq", code="unreadable")
    if type(envelope.setdefault("claimed", False)) is not bool:
        raise Refused("claimed is true or false.", field="claimed", code="unreadable")
    return envelope
