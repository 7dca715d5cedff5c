"""An export becomes the records of an empty site, proven equal to what it holds."""

import contextlib
import io
import json
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path

from django.conf import settings
from django.core.exceptions import ValidationError
from django.core.management import call_command
from django.db import (
    DEFAULT_DB_ALIAS,
    DatabaseError,
    OperationalError,
    transaction,
)

from shop.atomic_files import write_durably
from shop.ledger import perform, sealer
from shop.ledger.canonical import canonical
from shop.models import Entry, Kept

from . import restoring, server
from .backup_files import file_digest
from .backups import told_of
from .bulk_loading import insert_all
from .export_files import (
    CONTENT,
    DAMAGED,
    LINE_MOST,
    NoExport,
    Opened,
    our_migrations,
)
from .export_schema import USELESS_WITHOUT, exported_tables, secret_fields
from .other_databases import of_file, records_in
from .restoring import CannotRestore, Restored
from .table_copies import (
    Tally,
    delete_all,
    go_on_counting,
    plain_value,
    rows_of,
    tables,
)

IMPORTED = "imported"
FORM = "import/1"


def import_all(source: Path, *, despite: bool, say: Callable[[str], None]) -> Restored:
    """Make an export the records of this site, which must hold nothing.

    Every table is read back and compared with what was exported, the ledger has the
    same head and verifies. despite: also where the ledger does not verify, or files
    were gone when it was exported. Raises CannotRestore or NoExport; nothing stays
    behind then.
    """
    try:
        with server.hold_home(settings.HOME):
            restoring.refuse_full_home()
            with Opened(source) as export:
                refuse_other(export)
                say("Checking the file …")
                if faults := list(export.faults()):
                    fault_lines = "\n".join(f"  {fault}" for fault in faults)
                    raise NoExport(f"{source} is damaged:\n{fault_lines}")
                return _import(export, despite, say)
    except server.CannotServe as why:
        raise CannotRestore(str(why)) from None
    except OSError as why:
        raise CannotRestore(f"Nothing was imported: {why.strerror}.") from None
    except OperationalError as why:
        raise CannotRestore(f"Nothing was imported: {why}.") from None


def refuse_other(export: Opened) -> None:
    """Raise NoExport for another version's, or for what cannot be one of ours."""
    ours = {tuple(migration) for migration in our_migrations()}
    theirs = {tuple(migration) for migration in export.manifest.migrations}
    words = "Import it with the version of Fayline that wrote it"
    if later := sorted(theirs - ours):
        raise NoExport(
            f"It is of a later version: it has the change {' '.join(later[-1])}, which "
            f"this one does not know. {words}."
        )
    if lacking := sorted(ours - theirs):
        raise NoExport(
            f"It is of an earlier version: it lacks the change {' '.join(lacking[0])}. "
            f"{words}, then bring that site up to date."
        )
    export.refuse_odd()
    known = {m._meta.db_table for m in exported_tables(secrets=export.manifest.secrets)}
    if odd := known ^ set(export.manifest.tables):
        raise NoExport(f"It has other tables than this version: {min(odd)}.")
    # Rows, and as much again while they are written.
    if 2 * export.size() > shutil.disk_usage(settings.HOME).free:
        raise NoExport(f"There is too little room in {settings.HOME} for it.")


def _import(export: Opened, despite: bool, say) -> Restored:
    part, files = (Path(settings.HOME) / name for name in restoring.PARTS)
    with contextlib.ExitStack() as ends:
        ends.callback(restoring.drop_parts)
        restoring.drop_parts()
        files.mkdir(mode=0o700)
        part.touch(mode=0o600)
        _write_files(export, files)
        with records_in(of_file(part), files):
            call_command("migrate", interactive=False, verbosity=0)
            fill(export, say)
            say("Checking the ledger …")
            faults = [f"{name} is not in it" for name in export.manifest.lacking]
            faults += restoring.become_ours(faults, IMPORTED)
            if faults and not despite:
                lines = "\n".join(f"  {fault}" for fault in faults)
                raise CannotRestore(
                    f"It came as it was exported, which does not hold:\n{lines}\n"
                    "To take it all the same: --despite-faults."
                )
            entry = Entry.objects.select_related("by").order_by("-pk")
            newest = entry.exclude(form=FORM).first()
            restored = Restored(Entry.objects.count(), told_of(newest), faults)
        restoring.move_in(part, files, say)
    return restored


def _write_files(export: Opened, files: Path) -> None:
    for name in export.manifest.files:
        if content := CONTENT.fullmatch(name):
            (files / content[1]).mkdir(mode=0o700, exist_ok=True)
            # One picture or pack at a time; its digest was compared before.
            data = b"".join(export.blocks(name))
            write_durably(files / name.removeprefix("files/"), data)


def fill(export: Opened, say) -> None:
    """Load all rows into tables that hold what making them put there, or none."""
    manifest = export.manifest
    try:
        with transaction.atomic():
            # What making the tables put there is the export's to say.
            for model in reversed(tables()):
                delete_all(model, DEFAULT_DB_ALIAS)
            for model in exported_tables(secrets=manifest.secrets):
                say(f"  {model._meta.db_table}")
                with _told_of(model):
                    insert_all(model, _rows_in(export, model), DEFAULT_DB_ALIAS)
            go_on_counting(DEFAULT_DB_ALIAS)
            for model in exported_tables(secrets=manifest.secrets):
                _refuse_unequal(model, manifest.tables[model._meta.db_table])
    except OperationalError:
        raise
    except DatabaseError as why:
        raise NoExport(f"Its rows do not belong together ({why}).") from None
    last = list(_last_seal())
    if last != manifest.head:
        raise NoExport(
            f"Its ledger ends with {last}, its manifest says {manifest.head}."
        )
    _put_on_record(export)


@contextlib.contextmanager
def _told_of(model) -> Iterator[None]:
    try:
        yield
    except OperationalError:
        raise
    except (DatabaseError, ValidationError, *DAMAGED) as why:
        words = " ".join(getattr(why, "messages", [str(why)]))
        raise NoExport(f"{model._meta.db_table} cannot be read ({words}).") from None


def _rows_in(export: Opened, model) -> Iterator[tuple]:
    """Give the rows of a table as they are in the file, in the order of its columns."""
    fields = model._meta.concrete_fields
    names = {field.attname for field in fields}
    with export.open(f"tables/{model._meta.db_table}.jsonl") as member:
        lines = io.BufferedReader(member, 2**20)
        while line := lines.readline(LINE_MOST):
            columns = json.loads(line)
            if not isinstance(columns, dict) or set(columns) != names:
                raise ValueError("a row has other columns than this version")
            yield tuple(
                None if (value := columns[f.attname]) is None else f.to_python(value)
                for f in fields
            )


def _refuse_unequal(model, exported: list) -> None:
    """Read a table back and compare it with what was exported."""
    names = [field.attname for field in model._meta.concrete_fields]
    tally = Tally()
    for row in rows_of(model, DEFAULT_DB_ALIAS):
        columns = dict(zip(names, map(plain_value, row), strict=True))
        tally.add(canonical(columns))
    if [tally.count, tally.digest] != exported:
        raise NoExport(
            f"{model._meta.db_table} did not arrive as it was exported: {exported[0]} "
            f"rows were, {tally.count} came."
        )


def _last_seal() -> tuple[int, str]:
    from shop.models import Seal  # noqa: PLC0415

    last = Seal.objects.order_by("-position").first()
    return (last.position, last.digest) if last else (0, sealer.START)


def _put_on_record(export: Opened) -> None:
    """Say in the ledger where these records came from, and bind what was withheld."""
    manifest = export.manifest
    with perform(
        FORM,
        by=None,
        said={
            "sha256": file_digest(export.path),
            "made_at": manifest.made_at,
            "head": manifest.head,
            "secrets": manifest.secrets,
        },
    ) as act:
        if manifest.secrets:
            return
        for model in exported_tables(secrets=False):
            if issubclass(model, Kept) and (hidden := secret_fields(model)):
                names = [field.attname for field in hidden]
                rows = list(model._base_manager.all())
                for row in rows:
                    if model._meta.db_table in USELESS_WITHOUT:
                        row.delete()
                    else:
                        row.save(update_fields=names)
                act.result[model._meta.db_table] = len(rows)
