"""The file that a tablet saved in an emergency: taken in, and nothing counted twice."""

import base64
import binascii
import uuid
from functools import partial

from django.core.exceptions import PermissionDenied, ValidationError

from qa import envelopes, sync
from qa.actions.photos import BY_KEYS, add_tablet_photo, known_already
from shop.ledger import Refused
from shop.models import Person

MOST = 20_000
# The server takes no larger body; the tablet saves what is more in several files.
LARGEST = 60_000_000
NOT_A_FILE = "This is not a file that a tablet of this shop saved."


def read_file(content: bytes) -> dict:
    """Return what the file says; Refused when it is none of ours."""
    try:
        parsed = envelopes.parse(content)
    except Refused:
        parsed = None
    if not isinstance(parsed, dict) or parsed.get("format") != "fayline-tablet/1":
        raise Refused(NOT_A_FILE, field="file", code="unreadable")
    return parsed


def recover_file(saved: dict) -> dict:
    """Take every act of the file: {"stored", "known", "refused": [{id, message}]}.

    Also those that were acknowledged once: a restored database may lack them. Who
    measured is what the file says, and stays claimed until the person confirms it.
    """
    if not isinstance(saved, dict):
        raise Refused(NOT_A_FILE, field="file", code="unreadable")
    acts = saved.get("outbox")
    sent = saved.get("sent", [])
    photos = saved.get("photos", [])
    if not all(isinstance(rows, list) for rows in (acts, sent, photos)):
        raise Refused(NOT_A_FILE, field="file", code="unreadable")
    acts = [*filter(_was_acknowledged, sent), *acts]
    if len(acts) + len(photos) > MOST:
        raise Refused(
            "There is too much in this file: save it again, in parts.",
            field="file",
            code="too_large",
        )
    counts = {"stored": 0, "known": 0, "refused": []}
    # What names rows by key means those of the copy that the tablet knew.
    known = saved.get("database")
    for sent_one in sorted(acts, key=_number):
        _take(sent_one, partial(_act, known=known), counts)
    for sent_one in photos:
        _take(sent_one, partial(_photo, known=known), counts)
    return counts


def _was_acknowledged(row) -> bool:
    receipt = row.get("receipt") if isinstance(row, dict) else None
    return isinstance(receipt, dict) and "entry" in receipt


def _number(row) -> int:
    seq = row.get("seq") if isinstance(row, dict) else None
    return seq if isinstance(seq, int) else 0


def _take(envelope, take, counts: dict) -> None:
    """Take one row, and tell what became of it."""
    try:
        new = take(envelope)
    except Refused as no:
        problem = no.message
    except ValidationError as no:
        problem = " ".join(no.messages)
    except PermissionDenied as no:
        problem = str(no)
    except (KeyError, TypeError, ValueError, AttributeError, Person.DoesNotExist):
        problem = "This was made by nobody here, or cannot be read."
    else:
        counts["stored" if new else "known"] += 1
        return
    name = str(envelope.get("id", "?")) if isinstance(envelope, dict) else "?"
    counts["refused"].append({"id": name, "message": problem})


def _act(kept, known) -> bool:
    body = kept["body"]
    receipt = kept.get("receipt") or {}
    if isinstance(body, dict) and not body.get("database"):
        body["database"] = receipt.get("database") or known or ""
    envelope = envelopes.check_envelope(body)
    person = Person.objects.get(username=envelope["by"])
    return sync.take(uuid.UUID(str(kept["id"])), envelope, person, claimed=True)[1]


def _photo(sent, known) -> bool:
    act = uuid.UUID(str(sent["id"]))
    about = sent["about"]
    if not isinstance(about, dict):
        raise TypeError
    envelopes.check_keepable([about, sent["by"], str(sent["made_at"])])
    try:
        content = base64.b64decode(sent["data"], validate=True)
    except binascii.Error:
        raise Refused("The picture cannot be read.") from None
    new = not known_already(act)
    if new and any(about.get(name) for name in BY_KEYS):
        sync.require_same_copy(str(sent.get("database") or known or ""))
    add_tablet_photo(
        by=Person.objects.get(username=sent["by"]),
        content=content,
        about={name: str(text) for name, text in about.items()},
        act=act,
        made_at=str(sent["made_at"])[:40],
        claimed=True,
    )
    return new
