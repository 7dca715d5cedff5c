"""Photos from a tablet: what each shows is there and belongs to the check, or it is
refused with the reason; then it is pinned to that."""

import uuid
from dataclasses import dataclass

from django.utils.translation import gettext as _

from qa.models import Check, HolePattern, Kind, Nonconformance
from qa.rules.photographs import PHOTOGRAPHED, station_note
from shop import identifiers
from shop.actions.photos import add_photo
from shop.ledger import Refused
from shop.models import Photo

# They name their rows by key, not by the act that made them.
BY_KEYS = ("nonconformance", "pattern", "thing")


@dataclass(frozen=True)
class Shown:
    """What a photo is pinned to, and what is said under it."""

    kind: str
    key: int
    caption: str


def add_tablet_photo(*, by, content: bytes, about: dict, **envelope) -> Photo:
    """Keep a photo and pin it to what `about` says that it shows.

    about: texts. check (its act) with station and kind; or with nonconformance (its
    key); or with pattern (its key) and hole (its label). Else thing: a label's code.
    """
    shown = what_it_shows(about)
    return add_photo(
        by=by,
        content=content,
        subject_kind=shown.kind,
        subject_id=str(shown.key),
        caption=shown.caption[:200],
        **envelope,
    )


def known_already(photo: uuid.UUID) -> bool:
    return Photo.objects.filter(entry_id=photo).exists()


def what_it_shows(about: dict) -> Shown:
    """Return it; Refused when it is not there or is not of the check."""
    if about.get("thing"):
        return _thing(about["thing"])
    check = _check(about.get("check", ""))
    station = _station(check, about)
    if about.get("nonconformance"):
        return _nonconformance(check, about["nonconformance"], station)
    if about.get("pattern"):
        return _hole(check, about["pattern"], about.get("hole", ""))
    return Shown("check", check.pk, station)


def _check(text) -> Check:
    rows = Check.objects.select_related("fit_up")
    try:
        return rows.get(entry_id=uuid.UUID(str(text)))
    except (ValueError, Check.DoesNotExist):
        message = _("The server does not know the check of this photo.")
        raise Refused(message, field="check", code="unknown") from None


def _station(check: Check, about: dict) -> str:
    """Return the station in hand in words, "" when none was named."""
    label, kind = about.get("station", ""), about.get("kind", "")
    if not label:
        return ""
    there = check.fit_up.revision.stations.filter(label=label).exists()
    if not there or kind not in ("", *Kind.values):
        message = _("The joint of this photo has no station %(station)s.")
        message %= {"station": f"{label} {kind}".strip()}
        raise Refused(message, field="station", code="unknown")
    return station_note(label, kind)


def _row(rows, key, word: str):
    """Return the row with this key; Refused when the check has none such."""
    known = str(key).isascii() and str(key).isdigit() and len(str(key)) < 19
    row = rows.filter(pk=int(key)).first() if known else None
    if row is None:
        message = _("The check of this photo has no such %(kind)s.")
        field = word.replace(" ", "_")
        raise Refused(message % {"kind": word}, field=field, code="unknown")
    return row


def _nonconformance(check: Check, key, station: str) -> Shown:
    fit_up = check.fit_up
    rows = Nonconformance.objects.filter(
        joint_id=fit_up.joint_id, airframe_id=fit_up.airframe_id
    )
    item = _row(rows, key, "nonconformance")
    return Shown(
        "nonconformance", item.pk, ", ".join(filter(None, [station, check.label]))
    )


def _hole(check: Check, key, hole: str) -> Shown:
    """A hole keeps its label from one revision to the next: the pattern is pinned."""
    rows = HolePattern.objects.filter(joint_id=check.fit_up.joint_id)
    pattern = _row(rows, key, "hole pattern")
    if not pattern.revisions.filter(holes__label=hole).exists():
        message = _("Hole pattern %(pattern)s has no hole %(hole)s.")
        message %= {"pattern": pattern.number, "hole": hole}
        raise Refused(message, field="hole", code="unknown")
    return Shown("hole_pattern", pattern.pk, f"hole {hole}, {check.label}")


def _thing(code) -> Shown:
    shown = identifiers.find(str(code))
    if shown is None or shown[0].name not in PHOTOGRAPHED:
        message = _("The server does not know %(code)s, or takes no photos of it.")
        raise Refused(message % {"code": code}, field="thing", code="unknown")
    kind, row = shown
    return Shown(kind.name, row.pk, "")
