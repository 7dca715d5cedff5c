"""Signing: a person proves to be there and puts a name under what was shown."""

from django.utils.translation import gettext as _

from shop import roles
from shop.ledger import Refused, perform
from shop.models import Meaning, Person, ProvenBy, Signature
from shop.rules import signing

from .locks import locked
from .signing_in import prove_password
from .tablets import WrongPin, looks_like_a_pin, prove_pin

SHORTEST_PASSWORD = 8


def sign(
    *,
    by: Person,
    kind: str,
    key: int,
    meaning: str,
    name: str,
    secret: str,
    shown: str,
    note: str = "",
    address: str = "",
    device: str = "",
) -> Signature:
    """Sign a thing as it was shown (`shown`: the digest of that).

    secret: the password or the PIN of who signs, proven now, whoever is signed in; it
    is kept nowhere. name: typed, one's own. Raises Refused; after several wrong secrets
    nobody may try for a while.
    """
    roles.require(by, "sign")
    proven_by = _prove(by, secret, address, device)
    content = {"kind": kind, "key": key, "meaning": meaning, "name": name}
    content |= {"shown": shown, "note": note, "proven_by": proven_by}
    with perform("sign/1", by=by, said=content) as act:
        by = locked(by)
        text = _text(by, kind, key, meaning, shown)
        if _plain(name) != _plain(by.name):
            message = _("Type your own name, as it stands here: %(name)s.")
            raise Refused(message % {"name": by.name}, field="name")
        signature = Signature(
            kind=kind,
            key=key,
            meaning=meaning,
            person=by,
            name=by.name,
            role=by.role,
            certificate_kind=by.certificate_kind,
            certificate_number=by.certificate_number,
            proven_by=proven_by,
            content=text,
            digest=signing.digest_of(text),
            note=note.strip(),
        )
        same = {"kind": kind, "key": key, "meaning": meaning, "person": by}
        if Signature.objects.filter(**same, digest=signature.digest).exists():
            raise Refused(_("You signed exactly this already."), code="done")
        signature.full_clean(exclude=["entry"])
        act.record(signature)
        act.result = {"signature": signature.pk, "digest": signature.digest}
    return signature


def _text(by: Person, kind: str, key: int, meaning: str, shown: str) -> str:
    """What is signed; refused where it is not theirs to sign, or not what was shown."""
    signable_content = signing.content_of(kind, key)
    if signable_content is None:
        raise Refused(_("There is nothing like this to sign."), code="unknown")
    if meaning not in Meaning.values:
        raise Refused(_("Choose what your signature says."), field="meaning")
    signable, content = signable_content
    if why := signing.refusal(signable, content, meaning, by):
        raise Refused(why, field="meaning")
    text = signable.text(content)
    if signing.digest_of(text) != shown:
        message = _("This changed while you looked at it. Look again, then sign.")
        raise Refused(message, code="stale")
    return text


def _plain(name: str) -> str:
    return " ".join(name.split()).casefold()


def _prove(person: Person, secret: str, address: str, device: str) -> str:
    """Prove a password or a PIN, throttled as at the door; return which it was."""
    if person.pin and looks_like_a_pin(secret):
        try:
            prove_pin(person=person, pin=secret)
        except WrongPin:
            # A password may be digits alone, and then it is no shorter than that.
            if len(secret) < SHORTEST_PASSWORD:
                raise Refused(_("That is not your PIN."), field="secret") from None
        else:
            return ProvenBy.PIN
    proven = prove_password(
        username=person.username, password=secret, address=address, device=device
    )
    if proven is None or proven.pk != person.pk:
        message = _("That is neither your password nor your PIN.")
        raise Refused(message, field="secret")
    if proven.must_change_password:
        message = _("Somebody else set this password: choose one of your own first.")
        raise Refused(message, field="secret")
    return ProvenBy.PASSWORD
