"""What can be signed, by whom, and whether a signature still holds.

Each kind of thing registers a `Signable`: how its present content is read, as names and
values that do not depend on wording, language or units of who looks. What is signed is
the text of that; it holds as long as the same text would be made now and nothing that
the thing itself does not show happened to it since.
"""

import hashlib
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field, replace
from functools import cache

from django.utils.translation import gettext as _

from shop import roles
from shop.ledger.canonical import canonical
from shop.models import Meaning, Person, Signature


@dataclass(frozen=True)
class Content:
    """One thing as it is now.

    what: its name. fields: (name, value), all that is signed. address: its page.
    doers: gives the keys of who did the work, asked only when somebody signs. since:
    what happened to it that its fields do not show, in words; then it is not signed any
    more. shut: says why it cannot be signed
    yet. rights: by meaning another verb of roles
    than the kind says, None where it is not signed so. only: by meaning the one person
    who did what that says. signers: gives (key of a person,
    meaning) of every signature under it, holding or not.
    """

    what: str
    fields: tuple[tuple[str, str], ...]
    address: str
    doers: Callable[[], Iterable[int]] = tuple
    since: tuple[str, ...] = ()
    shut: Callable[[], str] = str
    rights: dict[str, str | None] | None = None
    only: dict[str, Person] = field(default_factory=dict)
    signers: Callable[[], Iterable[tuple[int, str]]] = tuple

    def __post_init__(self):
        # Asked of every person and meaning, answered by the database once.
        object.__setattr__(self, "doers", cache(self.doers))
        object.__setattr__(self, "shut", cache(self.shut))
        object.__setattr__(self, "signers", cache(self.signers))


@dataclass(frozen=True)
class Signable:
    """A kind of thing that can be signed.

    form: of the content: other fields are another form. rights: the verb of roles by
    meaning, in the order of the work. contents: of keys the contents, in a constant
    number of statements; a key that is not there is left out.
    """

    kind: str
    form: str
    word: str
    rights: dict[str, str]
    contents: Callable[[Iterable[int]], dict[int, Content]]
    # With these, whoever did the work does not sign.
    by_others: tuple[str, ...] = (Meaning.INSPECTED, Meaning.APPROVED)

    def text(self, content: Content) -> str:
        """What is signed, as the one text that its digest is made of."""
        return canonical(
            {
                "form": self.form,
                "what": content.what,
                "fields": [list(pair) for pair in content.fields],
            }
        )


SIGNABLES: dict[str, Signable] = {}


def register(signable: Signable) -> None:
    SIGNABLES[signable.kind] = signable


def digest_of(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()


def content_of(kind: str, key: int) -> tuple[Signable, Content] | None:
    """Return what can be signed, and as what; None where there is no such thing."""
    signable = SIGNABLES.get(kind)
    # No row has a number that the database cannot hold.
    content = signable and key < 2**63 and signable.contents([key]).get(key)
    if not content:
        return None
    return signable, replace(content, signers=lambda: _signers(kind, key))


def _signers(kind: str, key: int) -> set[tuple[int, str]]:
    rows = Signature.objects.filter(kind=kind, key=key).order_by()
    return set(rows.values_list("person", "meaning"))


def refusal(signable: Signable, content: Content, meaning: str, person: Person) -> str:
    """Why this person cannot sign this with that meaning; "" where they can."""
    right = {**signable.rights, **(content.rights or {})}.get(meaning)
    if right is None:
        return _("This is not signed as %(meaning)s.") % {
            "meaning": Meaning(meaning).label
        }
    if not roles.may(person, right):
        words = _("%(name)s may not sign this as %(meaning)s: %(who)s may.")
        return words % {
            "name": person.name,
            "meaning": Meaning(meaning).label,
            "who": roles.who_may(right),
        }
    only = content.only.get(meaning, person)
    if only != person:
        words = _("%(name)s signs this as %(meaning)s, who did it.")
        return words % {"name": only.name, "meaning": Meaning(meaning).label}
    return refused_as_own(signable, content, meaning, person) or refused_to_all(content)


def refused_as_own(
    signable: Signable, content: Content, meaning: str, person: Person
) -> str:
    """Who did the work, or signed that it was done by them, does not see it as another,
    and the other way round; "" where neither is so."""
    own = {"name": person.name}
    if meaning in signable.by_others:
        if person.pk in content.doers():
            return _("%(name)s did this work: somebody else signs for it.") % own
        if (person.pk, Meaning.PERFORMED) in content.signers():
            words = _("%(name)s signed this as performed: somebody else signs for it.")
            return words % own
    if meaning == Meaning.PERFORMED:
        for seen in signable.by_others:
            if (person.pk, seen) in content.signers():
                words = _(
                    "%(name)s signed this as %(meaning)s: whoever did the work "
                    "signs it as performed."
                )
                return words % {**own, "meaning": Meaning(seen).label}
    return ""


def refused_to_all(content: Content) -> str:
    """Why nobody can sign this as it is now; "" where somebody may be able to."""
    if content.since:
        changes = "; ".join(content.since)
        return _("This changed since: %(what)s.") % {"what": changes}
    return content.shut()


def meanings_of(signable: Signable, content: Content, person: Person) -> list[Meaning]:
    """The meanings with which this person can sign it now."""
    return [
        Meaning(right)
        for right in signable.rights
        if not refusal(signable, content, right, person)
    ]


def changes_of(
    signature: Signature, signable: Signable | None, content: Content | None
) -> tuple[str, ...]:
    """What changed since it was signed, field by field in words; () where it holds."""
    if digest_of(signature.content) != signature.digest:
        return (_("the signature itself was changed"),)
    if signable is None or content is None:
        return (_("what was signed is not there any more"),)
    if signable.text(content) == signature.content:
        return content.since
    changes = []
    then, now = signature.signed, dict(content.fields)
    if then["what"] != content.what:
        changes.append(_changed(_("its name"), then["what"], content.what))
    before = dict(then["fields"])
    for name in dict.fromkeys([*before, *now]):
        if before.get(name) != now.get(name):
            changes.append(_changed(name, before.get(name), now.get(name)))
    if not changes:
        changes.append(_("the order of what was signed"))
    return (*changes, *content.since)


def _changed(name: str, before: str | None, now: str | None) -> str:
    if before is None:
        return _("%(name)s: now %(now)s, was not there") % {"name": name, "now": now}
    if now is None:
        words = _("%(name)s: was %(before)s, is not there any more")
        return words % {"name": name, "before": before or _("empty")}
    return _("%(name)s: was %(before)s, now %(now)s") % {
        "name": name,
        "before": before or _("empty"),
        "now": now or _("empty"),
    }
