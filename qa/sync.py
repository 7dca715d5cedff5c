"""What a tablet sends, again and again, as one fact.

An act is an envelope: {"form", "by", "made_at", "device", "seq", "said"}. Each form has
one reader that finds the rows it names and calls the action of the same verb. Old forms
stay accepted for ever: a changed form gets a new version and a reader of its own.
"""

import json
import uuid
from collections.abc import Callable

from django.core.exceptions import ValidationError
from django.db import IntegrityError

from qa import fuselage
from qa.actions import (
    checks,
    claims,
    fitups,
    gauge_studies,
    raising,
)
from qa.envelopes import Said
from qa.models import (
    Check,
    FitUp,
    GaugeStudy,
    Instrument,
    Joint,
    JointRevision,
    Reading,
    Station,
    StudyValue,
)
from qa.rules.judging import Typed
from shop.ledger import Act, Refused, find_receipt
from shop.models import Airframe, Entry, Fact, Part, Person
from shop.models.prepared import Prepared, Slot
from shop.queries.incarnations import database_ids


def _fit_up(by: Person, said: Said, envelope: dict, key="uuid") -> None:
    parts = Part.objects.all()
    fitups.open_fit_up(
        by=by,
        airframe=said.row("airframe", Airframe.objects.all(), key=key),
        joint=said.row("joint", Joint.objects.select_related("current"), key=key),
        revision=said.row("revision", JointRevision.objects.all(), key="uuid"),
        part=said.row("part", parts, key=key),
        surround_part=said.row("surround_part", parts, key=key, missing_ok=True),
        reason=said.text("reason", 8),
        held=said.held(),
        note=said.text("note"),
        why=said.text("why", 200),
        **envelope,
    )


def _check(by: Person, said: Said, envelope: dict, key="uuid") -> None:
    gauges = Instrument.objects.all()
    checks.start_check(
        by=by,
        fit_up=said.row(
            "fitup",
            FitUp.objects.select_related("revision", "joint", "airframe"),
            key="entry_id",
        ),
        finish=said.text("finish", 8),
        instrument=said.row("instrument", gauges, key=key, missing_ok=True),
        temperature_mc=said.temperature(),
        in_acceptance_condition=said.flag("in_acceptance_condition"),
        note=said.text("note"),
        **envelope,
    )


WHOLE = ("fit_up__revision", "fit_up__joint", "instrument", "state")


def _the_check(said: Said) -> Check:
    return said.row("check", Check.objects.select_related(*WHOLE), key="entry_id")


# Most acts are readings, and a reading is judged by these alone.
THE_CHECK = Prepared(
    lambda: Check.objects.select_related("fit_up__revision", "instrument").filter(
        entry_id=Slot("act")
    )
)
# Not in the order of the walk, which would read the revision and joint as well.
THE_STATION = Prepared(
    lambda: Station.objects.filter(
        revision_id=Slot("revision"), label=Slot("label")
    ).order_by("pk")
)
READ_BEFORE = Prepared(
    lambda: Reading.objects.filter(
        fit_check=Slot("check"),
        station=Slot("station"),
        kind=Slot("kind"),
        entry_id=Slot("act"),
    )
)


def _the_station(said: Said, check: Check) -> Station:
    label = said.text("station", 20)
    station = THE_STATION.first(revision=check.fit_up.revision_id, label=label)
    if not station:
        raise Refused(f"This joint has no station {label}.", field="station")
    station.revision = check.fit_up.revision
    return station


def _reading(by: Person, said: Said, envelope: dict) -> Reading:
    check = said.row_of("check", THE_CHECK, Check)
    station = _the_station(said, check)
    kind = said.text("kind", 5)
    ours = {"check": check.pk, "station": station.pk, "kind": kind}
    return checks.record_reading(
        by=by,
        check=check,
        station=station,
        kind=kind,
        typed=Typed(
            outcome=said.text("outcome", 7),
            value=said.text("value", 24),
            unit=said.text("unit", 2),
            goes=said.text("goes", 24),
            does_not_go=said.text("does_not_go", 24),
        ),
        supersedes=said.row_of(
            "supersedes", READ_BEFORE, Reading, missing_ok=True, **ours
        ),
        reason=said.text("reason", 200),
        keep_late=True,
        **envelope,
    )


def _choose(by: Person, said: Said, envelope: dict) -> None:
    check = _the_check(said)
    checks.choose_reading(
        by=by,
        check=check,
        station=_the_station(said, check),
        kind=said.text("kind", 5),
        reading=said.row("reading", Reading.objects.all(), key="entry_id"),
        reason=said.text("reason", 200),
        **envelope,
    )


def _finish(by: Person, said: Said, envelope: dict) -> None:
    check = _the_check(said)
    checks.finish_check(by=by, check=check, note=said.text("note"), **envelope)


def _raise(by: Person, said: Said, envelope: dict) -> None:
    chosen = said.items("findings", int, "a list of numbers")
    raising.raise_findings(by=by, check=_the_check(said), chosen=chosen, **envelope)


def _confirm(by: Person, said: Said, envelope: dict) -> None:
    claims.answer_claim(
        by=by,
        entry=said.row("of", Entry.objects.all(), key="act"),
        verdict=said.text("verdict", 9),
        reason=said.text("reason", 200),
        **envelope,
    )


def _study_value(by: Person, said: Said, envelope: dict) -> None:
    study = said.row(
        "study", GaugeStudy.objects.select_related("instrument"), key="entry_id"
    )
    ours = StudyValue.objects.filter(study=study)
    gauge_studies.record_value(
        by=by,
        study=study,
        turn=said.whole("turn"),
        value=said.text("value", 24),
        unit=said.text("unit", 2),
        supersedes=said.row("supersedes", ours, key="entry_id", missing_ok=True),
        reason=said.text("reason", 200),
        **envelope,
    )


def _fit_up_by_keys(by: Person, said: Said, envelope: dict) -> None:
    _fit_up(by, said, {**envelope, "form": "fitup/1"}, key="pk")


def _check_by_keys(by: Person, said: Said, envelope: dict) -> None:
    _check(by, said, {**envelope, "form": "check/1"}, key="pk")


# Where there are many of a form, its reader gives the fact, which has its entry.
FORMS: dict[str, Callable[[Person, Said, dict], Fact | None]] = {
    "fitup/1": _fit_up_by_keys,
    "check/1": _check_by_keys,
    "fitup/2": _fit_up,
    "check/2": _check,
    "reading/1": _reading,
    "choose/1": _choose,
    "finish/1": _finish,
    "raise/1": _raise,
    "confirm/1": _confirm,
    "study_value/1": _study_value,
    **fuselage.FORMS,
}
# Most of all acts, each done in a few statements: others may wait for them.
SHORT = {"reading/1", "study_value/1"}
# They name rows by their keys in one database: another copy gives them to other rows.
BY_KEYS = {"fitup/1", "check/1"}


def take(
    act: uuid.UUID,
    envelope: dict,
    by: Person,
    *,
    claimed: bool = False,
    forms: dict = FORMS,
) -> tuple[Entry, bool]:
    """Perform an act once and return its entry, and whether it was new.

    claimed: who did it is only said, not proven then. forms: what may be sent. Sent
    again, however late, it is the same entry. Raises ReusedAct for another content
    under the same id, Refused or PermissionDenied as its action does.
    """
    form, said = envelope["form"], envelope["said"]
    if form not in forms:
        raise Refused(f"The form {form} is not known.", field="form")
    fingerprint = Act(form, by=by, said=said).fingerprint
    if entry := find_receipt(act, fingerprint):
        return entry, False
    if form in BY_KEYS:
        require_same_copy(envelope["database"])
    details = {name: envelope[name] for name in ("made_at", "device", "seq")}
    details["claimed"] = claimed
    try:
        made = forms[form](by, Said(said), {"act": act, "said": said, **details})
    except (IntegrityError, Refused, ValidationError):
        # The same act came in twice at once and the other was first: a key of it is
        # there, or what it wants to do is done.
        if entry := find_receipt(act, fingerprint):
            return entry, False
        raise
    return made.entry if made else find_receipt(act, fingerprint), True


def receipt(entry: Entry, database: str) -> dict:
    """Return the only thing that counts as success: our id, and whose database."""
    return {
        "act": str(entry.act),
        "database": database,
        "entry": entry.pk,
        "digest": entry.digest,
        "received_at": entry.received_at.isoformat(),
        "claimed": entry.claimed,
        "result": json.loads(entry.body)["result"],
    }


def require_same_copy(known: str) -> None:
    """Refuse what names rows by key and was made with another copy of the database.

    known: the database that the tablet had these keys from, "" when it does not say.
    """
    ids = database_ids()
    if (known or ids[-1]) != ids[0]:
        raise Refused(
            "This was made before the records were restored from a copy, and names "
            "its rows by numbers that may belong to others now. A person looks up what "
            "was meant and enters it again.",
            code="other_copy",
        )


def missing(ids: list[uuid.UUID]) -> list[str]:
    """Return those acts that this database does not have."""
    have = set(Entry.objects.filter(act__in=ids).values_list("act", flat=True))
    return [str(act) for act in ids if act not in have]
