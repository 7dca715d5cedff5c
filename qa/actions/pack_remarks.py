"""A remark against a line of an issued pack becomes an item."""

from django.utils.translation import gettext as _

from qa.actions import raising
from qa.models import (
    TITLE_MOST,
    IssuedPack,
    Joint,
    Nonconformance,
    NonconformanceKind,
    PackRemark,
    Source,
)
from shop import roles
from shop.actions.locks import locked
from shop.ledger import Refused, perform
from shop.models import Role

# A line may be called by a sentence: so much of it is kept, the item has all.
LINE = PackRemark._meta.get_field("line").max_length


def remark_on_pack(*, by, pack: IssuedPack, line: dict, text: str) -> PackRemark:
    """Write what is wrong with a line, as the pack tells it.

    line: {"name", "joint", "station", "requirement", "told"}, each a text, "" where the
    line has none. The item names the pack, so that whoever works on it sees what was
    read.
    """
    roles.require(by, "raise nonconformances")
    order, text = pack.order, text.strip()
    if not text:
        raise Refused(_("Say what is wrong."), field="text")
    joint = Joint.objects.filter(type=order.airframe.type_id, number=line["joint"])
    content = {"pack": order.label, "line": line["name"], "text": text}
    where = f"{order.label}, issue {order.issue}: {line['name']}"
    with perform("pack_remark/1", by=by, said=content) as act:
        # One after the other: sent twice at once, the second finds the first.
        by = locked(by)
        _refuse_again(by, pack, line["name"][:LINE], text)
        item = Nonconformance(
            airframe=order.airframe,
            kind=NonconformanceKind.OTHER,
            source=Source.INSPECTION if by.role == Role.INSPECTOR else Source.HAND,
            joint=joint.first() if line["joint"] else None,
            part=order.part,
            title=raising.title_of(text),
            requirement=line["requirement"][:200],
            found=line["told"][:200],
            stations=[line["station"]] if line["station"] else [],
            note="\n".join([*([text] if len(text) > TITLE_MOST else []), where]),
        )
        raising.keep(act, item)
        remark = act.record(
            PackRemark(pack=pack, line=line["name"][:LINE], text=text, item=item)
        )
        act.result = {"nonconformance": item.label}
    return remark


def _refuse_again(by, pack: IssuedPack, line: str, text: str) -> None:
    content = {"pack": pack, "line": line, "text": text, "entry__by": by}
    remark = PackRemark.objects.filter(**content).select_related("item").first()
    if remark:
        message = _("You wrote this already: it is %(item)s.")
        raise Refused(message % {"item": remark.item.label}, code="done")
