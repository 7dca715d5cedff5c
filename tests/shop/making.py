"""Rows for the tests, each made by the action that makes it in the product."""

import itertools

from shop.actions import airframes, parts
from shop.models import Hand, Origin

_serials = itertools.count(1)


def fresh(prefix: str) -> str:
    return f"{prefix}-{next(_serials):04d}"


def go_on_after(number: int) -> None:
    """Give later names, on a site where earlier ones are taken."""
    global _serials
    _serials = itertools.count(max(number, next(_serials)) + 1)


def make_type(by, **overrides):
    code = fresh("MG")
    return airframes.define_type(
        **{"by": by, "code": code, "name": f"Motor glider {code}", **overrides}
    )


def make_airframe(by, **overrides):
    kind = overrides.pop("type", None) or make_type(by)
    line = kind.airframes.count() + 1
    said = {"by": by, "serial": fresh("AF"), "line_number": line, **overrides}
    return airframes.add_airframe(type=kind, **said)


def make_position(by, **overrides):
    kind = overrides.pop("type", None) or make_type(by)
    code = fresh("POS")
    said = {"by": by, "code": code, "name": code.title(), **overrides}
    return airframes.add_position(type=kind, **said)


def make_design(by, **overrides):
    said = {"by": by, "number": fresh("D"), "name": "Door skin", "hand": Hand.NONE}
    return parts.define_design(**{**said, **overrides})


def make_part(by, **overrides):
    design = overrides.pop("design", None) or make_design(by)
    said = {"by": by, "serial": fresh("S"), "origin": Origin.MADE, **overrides}
    return parts.register_part(design=design, **said)


def make_placement(by, **overrides):
    airframe = overrides.pop("airframe", None) or make_airframe(by)
    position = overrides.pop("position", None) or make_position(by, type=airframe.type)
    part = overrides.pop("part", None) or make_part(by)
    return airframes.place_part(
        by=by, airframe=airframe, position=position, part=part, **overrides
    )
