"""Everything on record into one file that is readable without us, at one moment."""

import contextlib
import hashlib
import json
import os
import zipfile
from datetime import UTC, datetime
from pathlib import Path

from django.db import DEFAULT_DB_ALIAS

from shop.atomic_files import sync_folder
from shop.ledger import file_store, kept_files, sealer
from shop.ledger.canonical import canonical
from shop.ledger.snapshot import snapshot
from shop.models import Entry, Incarnation, Seal

from .backup_files import content_of, is_whole, stamp
from .export_files import (
    BLOCK,
    LINE_MOST,
    MANIFEST,
    SCHEMA,
    Manifest,
    our_migrations,
)
from .export_schema import exported_tables, schema, secret_fields, withheld
from .table_copies import Tally, plain_value, rows_of


class CannotExport(Exception):
    """Why nothing was written, in words for whoever asked."""


def export(target: Path, *, secrets: bool) -> Manifest:
    """Write all records, photos and packs into a new file, whole or not at all.

    secrets: also hashes of passwords, PINs and tokens, so that who can sign in here can
    there. Raises CannotExport.
    """
    if target.exists():
        raise CannotExport(f"{target} is there already: name another file.")
    part = target.with_name(f".{target.name}.part")
    try:
        handle = os.open(part, os.O_RDWR | os.O_CREAT | os.O_TRUNC, 0o600)
        with os.fdopen(handle, "w+b") as file:
            with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as made:
                manifest = _Writer(made, secrets).write()
            file.flush()
            os.fsync(file.fileno())
        os.replace(part, target)
        sync_folder(target.resolve().parent)
    except OSError as why:
        raise CannotExport(f"{target} was not written: {why.strerror}.") from None
    finally:
        part.unlink(missing_ok=True)
    return manifest


class _Writer:
    """Writes the members one after the other, and notes what each is."""

    def __init__(self, made: zipfile.ZipFile, secrets: bool):
        self._zip, self._secrets = made, secrets
        self._files: dict[str, list] = {}
        self._tables: dict[str, list] = {}

    def write(self) -> Manifest:
        now = datetime.now(UTC)
        sealer.seal()
        with snapshot():
            tables_schema = schema(secrets=self._secrets)
            text = json.dumps(tables_schema, indent=1, ensure_ascii=False)
            with self._member(SCHEMA) as add:
                add(text.encode())
            for model in exported_tables(secrets=self._secrets):
                self._write_table(model)
            last = Seal.objects.order_by("-position").first()
            about = {
                "made_at": stamp(now),
                "incarnation": str(Incarnation.objects.latest("started_at").pk),
                "migrations": our_migrations(),
                "head": [last.position, last.digest] if last else [0, sealer.START],
                "entries": Entry.objects.count(),
                "secrets": self._secrets,
                "lacking": self._write_files(),
            }
        manifest = Manifest(tables=self._tables, files=self._files, **about)
        self._zip.writestr(MANIFEST, manifest.text())
        return manifest

    @contextlib.contextmanager
    def _member(self, name: str, packed=zipfile.ZIP_DEFLATED):
        info = zipfile.ZipInfo(name)
        info.compress_type = packed
        info.external_attr = 0o600 << 16
        digest, size = hashlib.sha256(), 0
        # How long it gets is not known yet: there is room for more than 4 GB.
        with self._zip.open(info, "w", force_zip64=True) as file:

            def add(data: bytes) -> None:
                nonlocal size
                size += len(data)
                digest.update(data)
                file.write(data)

            yield add
        self._files[name] = [size, digest.hexdigest()]

    def _write_table(self, model) -> None:
        fields = model._meta.concrete_fields
        names = [field.attname for field in fields]
        hidden = {} if self._secrets else {f.attname: f for f in secret_fields(model)}
        key, tally = names.index(model._meta.pk.attname), Tally()
        with self._member(f"tables/{model._meta.db_table}.jsonl") as add:
            for row in rows_of(model, DEFAULT_DB_ALIAS):
                columns = dict(zip(names, map(plain_value, row), strict=True))
                for name, field in hidden.items():
                    if columns[name]:
                        columns[name] = withheld(field, row[key])
                text = canonical(columns)
                tally.add(text)
                line = f"{text}\n".encode()
                if len(line) > LINE_MOST:
                    table = model._meta.db_table
                    words = "is longer than an import takes: nothing was exported."
                    raise CannotExport(f"Row {row[key]} of {table} {words}")
                add(line)
        self._tables[model._meta.db_table] = [tally.count, tally.digest]

    def _write_files(self) -> list[str]:
        """Write the files that records name; return those that are gone."""
        gone = []
        for name in kept_files.names():
            try:
                self._write_file(name)
            except FileNotFoundError:
                gone.append(name)
        return gone

    def _write_file(self, name: str) -> None:
        with file_store.at_hand(name) as path:
            # What is not what its name says is as gone: nobody could take it in.
            if not is_whole(path, content_of(name)):
                raise FileNotFoundError(name)
            with (
                path.open("rb") as source,
                self._member(f"files/{name}", zipfile.ZIP_STORED) as add,
            ):
                while block := source.read(BLOCK):
                    add(block)
