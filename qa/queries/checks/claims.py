"""What was claimed to be somebody's and waits for that person, in words."""

from dataclasses import dataclass

from django.db.models import Count, Max, QuerySet
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from qa.models import (
    AppliedMove,
    Check,
    CheckFinish,
    CheckState,
    Choice,
    FitUp,
    Kind,
    Nonconformance,
    Outcome,
    Reading,
    TrimCut,
)
from qa.wording import lengths
from shop import roles
from shop.models import WAITING, Entry, Person, Photo, Tablet
from shop.queries.today import Item as TodayItem
from shop.queries.today import Listed, listed

OF_CHECK = ("fit_check__fit_up__airframe", "fit_check__fit_up__joint")
FIT_UP = ("airframe", "joint", "part")


@dataclass(frozen=True)
class Claim:
    """One act: what it says, when and on which tablet it was made, where to look."""

    act: str
    what: str
    where: str
    made_at: str
    received_at: object
    tablet: str
    url: str


def waiting_of(person: Person) -> QuerySet[Entry]:
    """Return the acts that were claimed of a person and not answered, oldest first."""
    return Entry.objects.filter(WAITING, by=person).order_by("pk")


def claims(entries: list[Entry]) -> list[Claim]:
    """Return entries in words, in a constant number of statements."""
    acts = [entry.act for entry in entries]
    texts: dict = {}
    for model, related, words in READERS:
        for row in model.objects.filter(entry__in=acts).select_related(*related):
            texts.setdefault(row.entry_id, words(row))
    names = {str(tablet.pk): tablet.name for tablet in Tablet.objects.all()}
    return [
        Claim(
            str(entry.act),
            *texts.get(entry.act, (entry.form, "", ""))[:2],
            made_at=entry.made_at,
            received_at=entry.received_at,
            tablet=names.get(entry.device, ""),
            url=texts.get(entry.act, ("", "", ""))[2],
        )
        for entry in entries
    ]


def _of_check(check: Check) -> tuple[str, str]:
    fit_up = check.fit_up
    where = f"{check.label}, {fit_up.airframe.serial}, {fit_up.joint.name}"
    return where, reverse("check", args=[check.entry_id])


def _reading(reading: Reading):
    what = Outcome(reading.outcome).label
    if reading.value_nm is not None:
        what = lengths.length(reading.value_nm, reading.unit or "mm")
    place = _("station %(station)s %(kind)s") % {
        "station": reading.station.label,
        "kind": Kind(reading.kind).label,
    }
    return f"{place}: {what}", *_of_check(reading.fit_check)


def _choice(choice: Choice):
    place = _("station %(station)s %(kind)s") % {
        "station": choice.station.label,
        "kind": Kind(choice.kind).label,
    }
    return f"{place}: {_('chosen of two')}, {choice.reason}", *_of_check(
        choice.fit_check
    )


def _finish(check_finish: CheckFinish):
    return _("check finished"), *_of_check(check_finish.fit_check)


def _check(check: Check):
    return _("check started"), *_of_check(check)


def _cut(trim_cut: TrimCut):
    return _("cut recorded"), *_of_check(trim_cut.fit_check)


def _moved(applied_move: AppliedMove):
    return f"{applied_move.get_kind_display()}: {applied_move.words}", *_of_check(
        applied_move.fit_check
    )


def _fit_up(fit_up: FitUp):
    what = f"{_('fit-up')} {fit_up.number}: {fit_up.part.serial}, {fit_up.held_text}"
    url = reverse("joint_on_airframe", args=[fit_up.joint_id, fit_up.airframe_id])
    return what.rstrip(", "), f"{fit_up.airframe.serial}, {fit_up.joint.name}", url


def _raised(nonconformance: Nonconformance):
    what = f"{nonconformance.label} {_('raised')}: {nonconformance.title}"
    return (
        what,
        nonconformance.airframe.serial,
        reverse("nonconformance", args=[nonconformance.pk]),
    )


def _photo(photo: Photo):
    return f"{_('photo')} {photo.caption}", "", reverse("photo", args=[photo.sha256])


READERS = (
    (Reading, ("station", *OF_CHECK), _reading),
    (Choice, ("station", *OF_CHECK), _choice),
    (CheckFinish, OF_CHECK, _finish),
    (Check, ("fit_up__airframe", "fit_up__joint"), _check),
    (TrimCut, OF_CHECK, _cut),
    (AppliedMove, OF_CHECK, _moved),
    (FitUp, FIT_UP, _fit_up),
    (Nonconformance, ("airframe",), _raised),
    (Photo, (), _photo),
)


def for_today(reader: Person) -> list[Listed]:
    """Return what waits for the reader to confirm, what waits for others (to the
    lead), and checks with late readings: empty lists left out."""
    groups = [_mine(reader), _late(reader)]
    if roles.may(reader, "manage people"):
        groups.append(_others(reader))
    return [group for group in groups if group.items]


def _words(n: int) -> str:
    return ngettext("%(n)s act", "%(n)s acts", n) % {"n": n}


def _mine(reader: Person) -> Listed:
    counted = waiting_of(reader).aggregate(n=Count("pk"), last=Max("received_at"))
    url = reverse("claims")
    items = []
    if n := counted["n"]:
        note = _("sent from a tablet without your PIN")
        items.append(TodayItem(_words(n), note, url, counted["last"]))
    title = _("Claimed in your name: confirm or disown")
    return Listed(title, items, counted["n"], url)


def _others(reader: Person) -> Listed:
    rows = Entry.objects.filter(WAITING).exclude(by=reader).order_by()
    rows = rows.values("by__name").annotate(n=Count("pk"), last=Max("received_at"))
    items = [
        TodayItem(
            row["by__name"] or "", _words(row["n"]), reverse("people"), row["last"]
        )
        for row in rows.order_by("by__name")
    ]
    title = _("Claimed, waiting for the person to confirm or disown")
    return Listed(title, items, len(items))


def _late(reader: Person) -> Listed:
    page = "late_readings" if roles.may(reader, "measure") else "check"
    rows = CheckState.objects.filter(late__gt=0, void=False)
    rows = rows.select_related("fit_check__fit_up__joint").order_by("fit_check__number")

    def shape(check_state: CheckState) -> TodayItem:
        check = check_state.fit_check
        n = ngettext("%(n)s reading", "%(n)s readings", check_state.late) % {
            "n": check_state.late
        }
        url = reverse(page, args=[check.entry_id])
        return TodayItem(f"{check.label} {check.fit_up.joint.name}", n, url)

    return listed(_("Readings that came in after the finish: decide"), rows, shape)
