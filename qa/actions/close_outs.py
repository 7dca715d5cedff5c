"""A joint, a bay or an airframe is closed by somebody who may, or refused."""

from django.utils.translation import gettext as _

from qa.models import CloseOut, Joint
from qa.rules import close_out, close_out_records, close_out_stands
from qa.rules.close_out_stands import Scope
from shop import roles
from shop.actions.locks import locked
from shop.actions.numbers import next_number
from shop.ledger import Refused, perform
from shop.models import Airframe, Person, Position


def close(
    *,
    by: Person,
    airframe: Airframe,
    bay: Position | None = None,
    joint: Joint | None = None,
    shown: str,
    note: str = "",
) -> CloseOut:
    """Close what was shown (its digest): refused while anything stands, and to whoever
    did some of the work."""
    roles.require(by, "close out")
    content = {"airframe": airframe.serial, "bay": bay and bay.pk}
    content |= {"joint": joint and joint.number, "shown": shown, "note": note}
    with perform("close_out/1", by=by, said=content) as act:
        locked(airframe)
        scope = Scope(airframe, bay, joint)
        gathered = close_out_stands.gather(close_out_records.load(airframe))
        standing = close_out.standing_of(gathered, scope)
        _refuse(by, gathered, standing, shown)
        text, digest = close_out.digest_of(standing.body)
        row = CloseOut(
            airframe=airframe,
            number=next_number(f"close_out:{airframe.pk}"),
            bay=bay,
            joint=joint,
            body=text,
            digest=digest,
            note=note.strip(),
        )
        row.full_clean(exclude=["entry"])
        act.record(row)
        act.result = {"close_out": row.label, "digest": digest}
    return row


def _refuse(by: Person, gathered, standing: close_out.Standing, shown: str) -> None:
    scope = standing.scope
    for place in (scope.bay, scope.joint):
        if place and place.type_id != scope.airframe.type_id:
            raise Refused(_("That is of another type of airframe."))
    if scope.joint and scope.joint not in gathered.records.joints:
        raise Refused(_("This airframe does not have that joint."))
    if standing.state == close_out.CLOSED:
        raise Refused(_("It is closed already."), code="stale")
    if shown != standing.digest:
        raise Refused(
            _("This changed while you looked at it. Look again, then close it."),
            code="stale",
        )
    if standing.stands:
        count = len(standing.stands)
        first = standing.stands[0]
        raise Refused(
            _("%(count)s still in its way, first: %(what)s, %(why)s.")
            % {"count": count, "what": first.what, "why": first.why},
            code="stands",
        )
    if by.pk in close_out.doers(gathered, scope):
        raise Refused(_("You did some of this work: somebody else closes it."))
