"""Acts: one transaction, the facts it made, and the entry that is its receipt."""

import contextlib
import functools
import logging
import threading
import uuid
from collections import deque
from collections.abc import Callable, Sequence

from django.db import OperationalError, connection, transaction
from django.utils import timezone

from shop.models import Entry, Fact, Person
from shop.models.kept import binding
from shop.models.prepared_statements import Prepared, Slot, Slots, insert

from .canonical import bound_columns, canonical, columns, digest, entry_digest, plain

log = logging.getLogger("fayline.acts")

# SQLite takes 32,766 values in one statement, if it was not built for more.
MOST_KEYS = 30_000


class Refused(Exception):
    """A rule of the shop says no. `field` names the input that caused it."""

    def __init__(self, message: str, *, field: str = "", code: str = "refused"):
        super().__init__(message)
        self.message, self.field, self.code = message, field, code


class ReusedAct(Refused):
    """The act's id was used before, for another content."""

    def __init__(self):
        super().__init__(
            "This act was saved before with another content.", code="reused"
        )


class Turnstile:
    """A lock that serves in the order of arrival.

    SQLite lets any waiting writer win; measured with 20 writers, some waited 8 s.
    """

    def __init__(self):
        self._guard = threading.Lock()
        self._waiting: deque[threading.Event] = deque()
        self._holder: int | None = None
        self._depth = 0

    def __enter__(self):
        me = threading.get_ident()
        with self._guard:
            if self._holder in (None, me):
                self._holder = me
                self._depth += 1
                return
            turn = threading.Event()
            turn.owner = me
            self._waiting.append(turn)
        turn.wait()

    def __exit__(self, *exception):
        with self._guard:
            self._depth -= 1
            if self._depth:
                return
            if self._waiting:
                turn = self._waiting.popleft()
                self._holder, self._depth = turn.owner, 1
                turn.set()
            else:
                self._holder = None


_turnstile = Turnstile()


@contextlib.contextmanager
def writing():
    """A write transaction; on SQLite writers go through one at a time, in order."""
    queue = _turnstile if connection.vendor == "sqlite" else contextlib.nullcontext()
    with queue, transaction.atomic():
        yield
        _require_open()


def _require_open() -> None:
    """Refuse to end well what is no transaction any more: after some faults (a full
    disk) SQLite has given it up by itself, and a commit would say nothing of it."""
    given_up = connection.get_rollback()
    if connection.vendor == "sqlite":
        given_up = given_up or not connection.connection.in_transaction
    if given_up:
        raise OperationalError("The database gave up what was being saved.")


class Act:
    """What an action says and makes while it runs. Facts go in through `record`."""

    def __init__(
        self,
        form,
        *,
        by,
        act=None,
        said=None,
        made_at="",
        device="",
        seq=None,
        claimed=False,
    ):
        self.form = form
        self.by: Person | None = by
        self.id: uuid.UUID = act or uuid.uuid4()
        self.said = said or {}
        self.made_at, self.device, self.seq = made_at, device, seq
        self.claimed = claimed
        self.now = timezone.now()
        self.result: dict = {}
        self.entry: Entry | None = None
        self._facts: list[Fact] = []

    @property
    def facts(self) -> Sequence[Fact]:
        return self._facts

    @property
    def fingerprint(self) -> str:
        """Digest of what the sender said; the same act sent again has the same."""
        who = self.by.username if self.by else ""
        return digest(self.form, who, canonical(self.said))

    def record(self, fact: Fact) -> Fact:
        """Insert a fact that points at this act's entry, and return it."""
        fact.entry_id = self.id
        insert(fact)
        self._facts.append(fact)
        return fact

    def _rows(self, changed: dict) -> list[dict]:
        """Return the kept rows that changed as they are now: read back, one statement
        a table, for what is in memory may be older, or hold an expression; of more
        rows than SQLite takes values several."""
        bound = []
        for model in sorted(changed, key=lambda model: model._meta.db_table):
            rows, keys = {}, sorted(changed[model])
            for at in range(0, len(keys), MOST_KEYS):
                kept = _by_key(model).rows(keys=keys[at : at + MOST_KEYS])
                rows |= {row.pk: row for row in kept}
            for key in keys:
                named = {"table": model._meta.db_table, "id": plain(key)}
                row = rows.get(key)
                bound.append({**named, "columns": bound_columns(row) if row else None})
        return bound

    def _append(self, changed: dict) -> None:
        # Facts point at the entry by the act's id, which is known before the entry
        # is there; the database checks the link at commit.
        entry = Entry(
            act=self.id,
            form=self.form,
            by=self.by,
            device=self.device,
            made_at=self.made_at,
            seq=self.seq,
            claimed=self.claimed,
            received_at=self.now,
            fingerprint=self.fingerprint,
            body=canonical(
                {
                    "said": self.said,
                    "result": self.result,
                    "facts": [
                        {
                            "table": fact._meta.db_table,
                            "id": fact.pk,
                            "columns": columns(fact),
                        }
                        for fact in self._facts
                    ],
                    "rows": self._rows(changed),
                }
            ),
        )
        entry.digest = entry_digest(entry)
        insert(entry)
        self.entry = entry
        for fact in self._facts:
            fact.entry = entry  # not to be read again by who wants the receipt
        if log.isEnabledFor(logging.INFO):
            transaction.on_commit(self._tell)

    def _tell(self) -> None:
        receipt = {
            "form": self.form,
            "entry": self.entry.pk,
            "act": str(self.id),
            "by": self.by.username if self.by else "",
            "device": self.device,
        }
        log.info("act", extra={"fields": receipt})


# What keeps a projection of many actions up to date: called at the end of each act, in
# its transaction, with its facts and the keys of the kept rows that it set, by model.
FOLLOWERS: list[Callable[[Sequence[Fact], dict], None]] = []


@contextlib.contextmanager
def perform(form, *, by, **envelope):
    """Run one act in one transaction and append its entry at the end.

    by: the person who acts. envelope: act (the id made on the tablet), said (what was
    said, as JSON can hold it), made_at, device, seq, claimed. Raises whatever the
    block raises; then nothing is written.
    """
    performed = Act(form, by=by, **envelope)
    with writing(), binding() as changed:
        yield performed
        performed._append(changed)
        for follow in FOLLOWERS:
            follow(performed.facts, changed)


@functools.cache
def _by_key(model) -> Prepared:
    return Prepared(lambda: model._base_manager.order_by().filter(pk__in=Slots("keys")))


BY_ACT = Prepared(lambda: Entry.objects.filter(act=Slot("act")))


def find_receipt(act: uuid.UUID, fingerprint: str) -> Entry | None:
    """Return the entry of an act that was saved before, None when it is new.

    Raises ReusedAct when the id was used for another content.
    """
    entry = BY_ACT.first(act=act)
    if entry and entry.fingerprint != fingerprint:
        raise ReusedAct
    return entry
