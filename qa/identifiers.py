"""The things of qa that a label, a photo or the chain can point at."""

from django.utils.translation import gettext_lazy as _

from shop.identifiers import Kind, register

FIT = ("fit_up__joint", "fit_up__airframe")


def register_identifiers() -> None:
    """Called when the apps are ready."""
    for identifier in (
        Kind("joint", "J", "qa.Joint", "joint", _("joint"), ("type",)),
        Kind("instrument", "I", "qa.Instrument", "instrument", _("instrument")),
        Kind(
            *("check", "F", "qa.Check", "check", _("fit check"), FIT),
            by="entry_id",
            says=("fit_up.airframe", "fit_up.joint.name"),
        ),
        Kind(
            *("nonconformance", "X", "qa.Nonconformance", "nonconformance"),
            _("nonconformance"),
            ("airframe",),
            says=("airframe", "title"),
        ),
        Kind(
            *("result", "C", "qa.CharacteristicResult", "characteristic_result"),
            _("result"),
            ("revision__characteristic", "airframe"),
            says=("airframe", "verdict"),
        ),
        Kind(
            *("temporary", "B", "shop.TemporaryItem", "temporary_item"),
            _("temporary item"),
            ("airframe", "bay"),
            says=("airframe", "what", "bay"),
        ),
    ):
        register(identifier)
