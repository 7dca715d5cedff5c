"""Who came in, who did not, and what became of what people may do: for the lead."""

import json
from dataclasses import dataclass
from datetime import datetime

from django.core.paginator import Page
from django.db.models import F, Q, Value

from shop.ledger.canonical import canonical
from shop.models import Entry, Person, PinTry, SignInTry, Tried
from shop.wording import audit as words

from .paging import whole_page_of

DOOR, PIN, ACT = "door", "pin", "act"
# Of these there are many, each by the person whom it is about.
EACH_SHIFT = "prove/1"


@dataclass(frozen=True)
class AuditRow:
    """by: who did it; about: to whom, where that is somebody else or all there is."""

    at: datetime
    what: str
    by: str
    about: str = ""
    details: str = ""
    address: str = ""
    # Something to look at: a wrong one, or one that was refused.
    is_bad: bool = False


def audit(*, kind: str = "", q: str = "", page=1) -> Page:
    """One page of all of it, the newest first: a constant number of statements."""
    people = _people(q) if q else None
    sources = [
        rows.order_by()
        .annotate(source=Value(source), key=F("pk"), moment=F(when))
        .values_list("source", "key", "moment")
        for source, when, rows in _sources(kind, people)
    ]
    rows = (
        sources[0].union(*sources[1:], all=True).order_by("-moment", "-source", "-key")
    )
    return whole_page_of(rows, page, _shown)


def _people(q: str) -> list[tuple[int, str]]:
    who = Q(username__says=q) | Q(name__says=q)
    return list(Person.objects.filter(who).values_list("pk", "username")[:50])


def _sources(kind: str, people):
    """The tables that hold what is asked for, each narrowed to that."""
    came = Q(tried=Tried.CAME)
    if kind in ("", "door", "refused"):
        # That a password was right tells who came in only where somebody did.
        shown = {"door": came, "refused": Q(right=False)}.get(kind)
        yield (
            DOOR,
            "at",
            _of(SignInTry.objects.filter(shown or came | Q(right=False)), people),
        )
    if kind in ("", "refused"):
        yield PIN, "at", _of(PinTry.objects.filter(right=False), people)
    if kind not in ("door", "refused"):
        about = Q()
        if people is not None:
            about = Q(by__in=[pk for pk, _name in people])
            for _pk, name in people:
                quoted = canonical(name)
                about |= Q(body__contains=f'"person":{quoted}') & ~Q(form=EACH_SHIFT)
                added = Q(form__in=("person/1", "first_person/1"))
                about |= added & Q(body__contains=f'"username":{quoted}')
        # Each form by its index: of many at once the database would read all entries.
        for form in words.forms_of(kind):
            yield ACT, "received_at", Entry.objects.filter(about, form=form)


def _of(rows, people):
    return rows if people is None else rows.filter(person__in=[pk for pk, _n in people])


def _shown(sources) -> list[AuditRow]:
    keys = {source: [] for source in (DOOR, PIN, ACT)}
    sources = list(sources)
    for source, key, _moment in sources:
        keys[source].append(key)
    rows = {
        DOOR: SignInTry.objects.select_related("person").in_bulk(keys[DOOR]),
        PIN: PinTry.objects.select_related("person", "tablet").in_bulk(keys[PIN]),
        ACT: Entry.objects.select_related("by").in_bulk(keys[ACT]),
    }
    acts = {key: json.loads(row.body) for key, row in rows[ACT].items()}
    names = _names(acts.values())
    shape = {
        DOOR: _of_door,
        PIN: _of_pin,
        ACT: lambda row: _of_act(row, acts[row.pk], names),
    }
    return [shape[source](rows[source][key]) for source, key, _moment in sources]


def _names(bodies) -> dict[str, str]:
    about = {_about(body) for body in bodies}
    return dict(
        Person.objects.filter(username__in=about).values_list("username", "name")
    )


def _about(body: dict) -> str:
    named = body["said"]
    return named.get("person") or named.get("username") or ""


def _of_door(row: SignInTry) -> AuditRow:
    if row.refused:
        what = words.REFUSED
    else:
        what = words.SIGNED_IN if row.tried == Tried.CAME else words.WRONG[row.tried]
    return AuditRow(
        at=row.at,
        what=str(what),
        by=row.person.name if row.person else str(words.NOBODY),
        details=row.browser,
        address=row.address,
        is_bad=row.tried != Tried.CAME,
    )


def _of_pin(row: PinTry) -> AuditRow:
    where = row.tablet.name if row.tablet else ""
    return AuditRow(
        at=row.at,
        what=str(words.WRONG_PIN),
        by=row.person.name,
        details=where,
        is_bad=True,
    )


def _of_act(row: Entry, body: dict, names: dict[str, str]) -> AuditRow:
    about = names.get(_about(body), _about(body))
    by = row.by.name if row.by else str(words.TERMINAL)
    return AuditRow(
        at=row.received_at,
        what=words.word_of(row.form),
        by=by,
        about="" if about == by else about,
        details=words.details_of(row.form, body["said"], body["result"]),
    )
