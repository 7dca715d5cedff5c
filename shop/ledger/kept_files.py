"""Files that facts name by their digest: photos and issued papers. Each must still
have it."""

from collections.abc import Iterator
from dataclasses import dataclass

from django.db import models

from shop.models import Photo, ShopIdentity

from . import file_store


@dataclass(frozen=True)
class KeptFile:
    """Which files a model names: the column with the sha256, the ending of the name,
    and what it is called where it does not hold."""

    model: type[models.Model]
    column: str
    ending: str
    word: str


KEPT_FILES = [
    KeptFile(Photo, "sha256", "jpg", "picture"),
    KeptFile(ShopIdentity, "mark", "jpg", "picture"),
]


def register(kept: KeptFile) -> None:
    """qa's files are told when it is ready; told twice, each is read once."""
    if kept not in KEPT_FILES:
        KEPT_FILES.append(kept)


def faults() -> Iterator[str]:
    """Give every file that is gone, cannot be read, or holds something else."""
    for kept in KEPT_FILES:
        yield from _faults(kept)


def names() -> Iterator[str]:
    """Give the name of every file that some row names, each once."""
    given = set()
    for kept in KEPT_FILES:
        rows = kept.model.objects.exclude(**{kept.column: ""}).order_by(kept.column)
        digests = rows.values_list(kept.column, flat=True).distinct()
        for digest in digests.iterator(2000):
            name = f"{digest[:2]}/{digest}.{kept.ending}"
            if name not in given:
                given.add(name)
                yield name


def _faults(kept: KeptFile) -> Iterator[str]:
    rows = kept.model.objects.exclude(**{kept.column: ""})
    rows = rows.order_by(kept.column, "pk").values_list("pk", kept.column)
    before = None
    for key, digest in rows.iterator(2000):
        if digest == before:
            continue
        before = digest
        named = f"{kept.model._meta.db_table} {key}"
        file_name = file_store.name_of(digest, kept.ending)
        try:
            digest_now = file_store.digest_of(file_name)
        except FileNotFoundError:
            yield f"{named}: its file {file_name} is gone"
        except OSError as why:
            yield f"{named}: its file cannot be read ({why.strerror or why})"
        else:
            if digest_now != digest:
                yield f"{named}: its file holds another {kept.word}"
