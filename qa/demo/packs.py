"""Packs of the demo: the flap over the tow hook, twice; it was weighed between."""

from qa import press
from qa.actions.packs import order_pack
from qa.models import Joint, PackOrder
from shop.actions.weights import weigh_part
from shop.demo.times import day, grams
from shop.ledger import sealer
from shop.models import Part, Stage


def load(crew, glider) -> None:
    joint = Joint.objects.get(type=glider.type, number="J-170")
    what = {"airframe": glider.airframes["MG2-001"], "joint": joint}
    _issue(crew["ines"], **what, paper="letter", note="For the first inspection.")
    weigh_part(
        by=crew["tomas"],
        part=Part.objects.get(serial="MG-1550-001"),
        stage=Stage.FINISHED,
        mass=grams("212"),
        scale="bench scale",
        weighed_on=day(0),
    )
    _issue(crew["ines"], **what, paper="a4", note="With the weight of the flap.")


def _issue(by, **what) -> None:
    order = order_pack(by=by, **what)
    sealer.seal()
    order = PackOrder.objects.select_related(*press.RELATED).get(pk=order.pk)
    press.print_pack(order)
    press.take(order, by=order.entry.by)
