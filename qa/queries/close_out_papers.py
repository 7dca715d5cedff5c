"""A close-out for paper: what still stands between here and closed, or what was closed,
on what it relied, and who signed."""

from dataclasses import dataclass
from datetime import datetime

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from qa.models import State
from qa.queries.close_out import CloseOutView
from qa.queries.issue import Signature, boxes_of, ledger_place, local, signed_record
from qa.rules import close_out
from qa.wording import close_outs as words
from shop.ledger.canonical import canonical, digest
from shop.models import Seal
from shop.queries.identity import the_shop
from shop.queries.signatures import signed_thing
from shop.wording import states


@dataclass(frozen=True)
class CloseOutPaper:
    """All as text. stands: (heading, [(what, why)]); beside: open on the
    surround of a joint, (what, why); empty: what stays so, (what, why); places: (bay
    or joint, how much stands there, state); relied_on: (what, name, how it was);
    changed: since closed."""

    shop: str
    number: str
    title: str
    state: str
    identity: tuple[tuple[str, str], ...]
    changed: tuple[str, ...]
    count: int
    stands: tuple[tuple[str, tuple[tuple[str, str], ...]], ...]
    beside: tuple[tuple[str, str], ...]
    empty: tuple[tuple[str, str], ...]
    places: tuple[tuple[str, str, str], ...]
    relied_on: tuple[tuple[str, str, str], ...]
    issued_at: datetime
    issued_text: str
    creator: str
    url: str
    digest: str
    ledger_head: str
    signatures: tuple[Signature, ...]


def paper_of(view: CloseOutView, url: str, creator: str) -> CloseOutPaper:
    """As of the newest entry of the ledger: anything may change what stands."""
    entry = Seal.objects.select_related("entry").order_by("-position")[0].entry
    standing, last = view.standing, view.standing.close_out
    signed = last and signed_thing("close_out", last.pk)
    state = states.of_record(standing.state)[1]
    stands = tuple(
        (group.title, tuple((line.what, line.why) for line in group.lines))
        for group in view.groups
    )
    beside = tuple((line.what, line.why) for line in view.beside)
    empty = tuple((line.what, line.why) for line in view.empty)
    content = [standing.digest, standing.state, stands, list(standing.changed), beside]
    content.append(signed_record(signed) if signed else [])
    return CloseOutPaper(
        shop=the_shop().name,
        number=" ".join([view.scope.airframe.serial, *([last.label] if last else [])]),
        title=_("Close-out of %s") % view.scope.name,
        state=state,
        identity=(*_identity(view, state), *(_closed(last) if last else ())),
        changed=standing.changed,
        count=view.count,
        stands=stands,
        beside=beside,
        empty=empty,
        places=tuple(_place(row) for row in view.places),
        relied_on=tuple(_relied_on(last.content)) if last else (),
        issued_at=entry.received_at,
        issued_text=local(entry.received_at),
        creator=creator,
        url=url,
        digest=digest(canonical(content)),
        ledger_head=ledger_place(entry),
        signatures=boxes_of(signed, **_blanks(standing)) if signed else (),
    )


def _identity(view: CloseOutView, state: str) -> tuple[tuple[str, str], ...]:
    airframe, scope = view.scope.airframe, view.scope
    bay = scope.joint.position if scope.joint else scope.bay
    return (
        (_("Airframe"), f"{airframe.serial}, {airframe.type}"),
        (_("Bay"), bay.path if bay else _("all")),
        (_("Joint"), scope.name if scope.joint else _("all")),
        (_("State"), state),
    )


def _closed(last) -> tuple[tuple[str, str], ...]:
    return (
        (_("Closed by"), last.entry.author),
        (_("Closed"), local(last.entry.received_at)),
        (_("Note"), last.note or "–"),
        (_("Digest of what was closed"), last.digest[:16]),
    )


def _place(row) -> tuple[str, str, str]:
    indent = "" if row.is_joint else "· " * row.depth
    return f"{indent}{row.name}", str(row.stands), states.of_record(row.state)[1]


def _blanks(standing) -> dict[str, Signature]:
    """What does not hold is not signed any more."""
    if standing.state != close_out.CLOSED:
        return {}
    return {
        "inspected": Signature(_("Inspected")),
        "approved": Signature(_("Approved")),
        "released": Signature(_("Released for the next step")),
    }


def _relied_on(body: dict):
    """Each thing of a body (close_out/2), in words; older ones have no empty places."""
    for section, (heading, how) in TOLD.items():
        for name, value in body.get(section, {}).items():
            yield str(heading), name, how(value)


def _joint(value) -> str:
    return states.of_record(value[0])[1] if value else words.not_accepted(None)


def _holes(value) -> str:
    return ngettext("%s check", "%s checks", len(value)) % len(value)


def _characteristic(value) -> str:
    revision, result = value
    asked = _("revision %s") % revision
    return asked if result else f"{asked}, {words.result('not_measured')}"


TOLD = {
    "joints": (gettext_lazy("joint"), _joint),
    "parts": (gettext_lazy("part"), lambda _value: _("sits here")),
    "empty": (gettext_lazy("stays empty"), lambda value: value[0]),
    "holes": (gettext_lazy("hole pattern"), _holes),
    "characteristics": (gettext_lazy("characteristic"), _characteristic),
    "temporary": (
        gettext_lazy("temporary item"),
        lambda value: (
            _("%(out)s out, %(released)s released")
            % {"out": value[0], "released": value[1]}
        ),
    ),
    "items": (
        gettext_lazy("nonconformance"),
        lambda value: str(State(value[0]).label),
    ),
}
