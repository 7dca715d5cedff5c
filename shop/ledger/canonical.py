"""One text for one content: what digests are made of."""

import datetime as dt
import hashlib
import json
import uuid

from django.db import models
from django.utils.functional import Promise
from django.utils.translation import override


def canonical(content) -> str:
    """Return `content` as JSON with sorted keys and no spaces; NaN is refused.

    A text that waits for a language is written in ours: a digest must not depend on
    the language of whoever looked.
    """
    return json.dumps(
        content,
        sort_keys=True,
        separators=(",", ":"),
        ensure_ascii=False,
        allow_nan=False,
        default=_in_our_words,
    )


def _in_our_words(value) -> str:
    if isinstance(value, Promise):
        with override(None):
            return str(value)
    raise TypeError(f"{type(value).__name__} is not for a record")


def digest(*parts: str) -> str:
    """Return the SHA-256 of the parts, each preceded by its length."""
    whole = b"".join([b"%d:%b" % (len(x), x) for x in map(str.encode, parts)])
    return hashlib.sha256(whole).hexdigest()


def frozen(content) -> dict[str, str]:
    """Return what a `Frozen` record keeps of its content: the text and its SHA-256."""
    text = canonical(content)
    return {"body": text, "digest": hashlib.sha256(text.encode()).hexdigest()}


def stamp(moment: dt.datetime) -> str:
    """Return a time as UTC text with microseconds, the same on both databases."""
    # As strftime would, in a third of its time.
    return f"{moment.astimezone(dt.UTC).isoformat(timespec='microseconds')[:26]}Z"


def plain(value):
    """Return a column's value as JSON can hold it."""
    if isinstance(value, dt.datetime):
        return stamp(value)
    if isinstance(value, dt.date):
        return value.isoformat()
    if isinstance(value, uuid.UUID):
        return str(value)
    return value


def columns(row: models.Model) -> dict:
    """Return the stored columns of a fact, without the link to its entry."""
    return {
        field.attname: plain(getattr(row, field.attname))
        for field in row._meta.concrete_fields
        if field.name != "entry"
    }


def bound_columns(row: models.Model) -> dict:
    """Return what an entry binds of a kept row: its columns, of secrets a digest."""
    bound = {}
    for field in row._meta.concrete_fields:
        name = field.attname
        if field.name in row.not_bound:
            continue
        value = plain(getattr(row, name))
        secret = field.name in row.bound_by_digest
        bound[name] = digest(value) if secret and value else value
    return bound


def entry_digest(entry) -> str:
    """Return the digest of everything an entry says."""
    return digest(
        str(entry.act),
        entry.form,
        str(entry.by_id),
        entry.device,
        entry.made_at,
        str(entry.seq),
        str(entry.claimed),
        stamp(entry.received_at),
        entry.fingerprint,
        entry.body,
    )
