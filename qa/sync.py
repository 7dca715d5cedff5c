"""What a tablet sends, again and again, as one fact.

An act is an envelope: {"form", "by", "made_at", "device", "seq", "said"}. Each form has
one reader that finds the rows it names and calls the action of the same verb. Old forms
stay accepted for ever: a changed form gets a new version and a reader of its own.
"""

import json
import uuid
from collections.abc import Callable

from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError
from django.http import Http404

from qa import fuselage
from qa.actions import (
    checks,
    claims,
    fitups,
    gauge_studies,
    raising,
)
from qa.envelopes import ActContent
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
from shop.models.prepared_statements import Prepared, Slot
from shop.queries.incarnations import database_ids


def _fit_up(by: Person, content: ActContent, envelope: dict, key="uuid") -> None:
    parts = Part.objects.all()
    fitups.open_fit_up(
        by=by,
        airframe=content.row("airframe", Airframe.objects.all(), key=key),
        joint=content.row("joint", Joint.objects.select_related("current"), key=key),
        revision=content.row("revision", JointRevision.objects.all(), key="uuid"),
        part=content.row("part", parts, key=key),
        surround_part=content.row("surround_part", parts, key=key, missing_ok=True),
        reason=content.text("reason", 8),
        held=content.held(),
        note=content.text("note"),
        why=content.text("why", 200),
        **envelope,
    )


def _check(by: Person, content: ActContent, envelope: dict, key="uuid") -> None:
    gauges = Instrument.objects.all()
    checks.start_check(
        by=by,
        fit_up=content.row(
            "fitup",
            FitUp.objects.select_related("revision", "joint", "airframe"),
            key="entry_id",
        ),
        finish=content.text("finish", 8),
        instrument=content.row("instrument", gauges, key=key, missing_ok=True),
        temperature_mc=content.temperature(),
        in_acceptance_condition=content.flag("in_acceptance_condition"),
        note=content.text("note"),
        **envelope,
    )


WHOLE = ("fit_up__revision", "fit_up__joint", "instrument", "state")


def _the_check(content: ActContent) -> Check:
    return content.row("check", Check.objects.select_related(*WHOLE), key="entry_id")


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


def _the_station(content: ActContent, check: Check) -> Station:
    label = content.text("station", 20)
    station = THE_STATION.first(revision=check.fit_up.revision_id, label=label)
    if not station:
        raise Refused(f"This joint has no station {label}.", field="station")
    station.revision = check.fit_up.revision
    return station


def _reading(by: Person, content: ActContent, envelope: dict) -> Reading:
    check = content.row_of("check", THE_CHECK, Check)
    station = _the_station(content, check)
    kind = content.text("kind", 5)
    ours = {"check": check.pk, "station": station.pk, "kind": kind}
    return checks.record_reading(
        by=by,
        check=check,
        station=station,
        kind=kind,
        typed=Typed(
            outcome=content.text("outcome", 7),
            value=content.text("value", 24),
            unit=content.text("unit", 2),
            goes=content.text("goes", 24),
            does_not_go=content.text("does_not_go", 24),
        ),
        supersedes=content.row_of(
            "supersedes", READ_BEFORE, Reading, missing_ok=True, **ours
        ),
        reason=content.text("reason", 200),
        keep_late=True,
        **envelope,
    )


def _choose(by: Person, content: ActContent, envelope: dict) -> None:
    check = _the_check(content)
    checks.choose_reading(
        by=by,
        check=check,
        station=_the_station(content, check),
        kind=content.text("kind", 5),
        reading=content.row("reading", Reading.objects.all(), key="entry_id"),
        reason=content.text("reason", 200),
        **envelope,
    )


def _finish(by: Person, content: ActContent, envelope: dict) -> None:
    check = _the_check(content)
    checks.finish_check(by=by, check=check, note=content.text("note"), **envelope)


def _raise(by: Person, content: ActContent, envelope: dict) -> None:
    chosen = content.items("findings", int, "a list of numbers")
    raising.raise_findings(by=by, check=_the_check(content), chosen=chosen, **envelope)


def _confirm(by: Person, content: ActContent, envelope: dict) -> None:
    claims.answer_claim(
        by=by,
        entry=content.row("of", Entry.objects.all(), key="act"),
        verdict=content.text("verdict", 9),
        reason=content.text("reason", 200),
        **envelope,
    )


def _study_value(by: Person, content: ActContent, envelope: dict) -> None:
    study = content.row(
        "study", GaugeStudy.objects.select_related("instrument"), key="entry_id"
    )
    ours = StudyValue.objects.filter(study=study)
    gauge_studies.record_value(
        by=by,
        study=study,
        turn=content.whole("turn"),
        value=content.text("value", 24),
        unit=content.text("unit", 2),
        supersedes=content.row("supersedes", ours, key="entry_id", missing_ok=True),
        reason=content.text("reason", 200),
        **envelope,
    )


def _fit_up_by_keys(by: Person, content: ActContent, envelope: dict) -> None:
    _fit_up(by, content, {**envelope, "form": "fitup/1"}, key="pk")


def _check_by_keys(by: Person, content: ActContent, envelope: dict) -> None:
    _check(by, content, {**envelope, "form": "check/1"}, key="pk")


# Where there are many of a form, its reader gives the fact, which has its entry.
FORMS: dict[str, Callable[[Person, ActContent, dict], Fact | None]] = {
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
    form, content = envelope["form"], envelope["said"]
    if form not in forms:
        raise Refused(f"The form {form} is not known.", field="form")
    fingerprint = Act(form, by=by, said=content).fingerprint
    # What is sent most is as good as always new; where it is not, its key says so: that
    # costs less than to ask before.
    if form not in SHORT and (entry := find_receipt(act, fingerprint)):
        return entry, False
    if form in BY_KEYS:
        require_same_copy(envelope["database"])
    details = {name: envelope[name] for name in ("made_at", "device", "seq")}
    details["claimed"] = claimed
    try:
        made = forms[form](
            by, ActContent(content), {"act": act, "said": content, **details}
        )
    except (IntegrityError, Http404, PermissionDenied, Refused, ValidationError):
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
