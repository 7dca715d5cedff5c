"""What large.py writes again and again, made by the actions once."""

CHECKS = 5


def a_seam() -> None:
    """A joint, five checks of it, and what did not conform."""
    from qa.actions import checks, raising
    from shop.actions import airframes
    from shop.models import Person
    from tests.qa.making import (
        make_check,
        make_fit_up,
        make_instrument,
        make_joint,
        make_position,
        make_type,
        read,
    )
    from tests.shop.making import make_airframe, make_design, make_part
    from tests.shop.making_floor import make_tool

    lead = Person.objects.get(role="lead")
    engineer = Person.objects.get(role="engineer")
    kind = make_type(engineer)
    frame = make_airframe(engineer, type=kind)
    door, around = (make_position(engineer, type=kind) for _ in range(2))
    joint = make_joint(engineer, position=door, surround=around)
    design = make_design(engineer)
    parts = [make_part(engineer, design=design) for _ in range(3)]
    make_tool(lead)
    airframes.place_part(
        by=lead,
        airframe=frame,
        position=door,
        part=parts[0],
        **reason_where_asked(airframes.place_part),
    )
    gauge = make_instrument(engineer)
    for number in range(CHECKS):
        fit_up = make_fit_up(engineer, joint, airframe=frame, part=parts[0])
        check = make_check(lead, fit_up=fit_up, instrument=gauge)
        for station in range(1, 9):
            read(check, station, "gap", "3.40" if station == number else "2.20")
            read(check, station, "flush", "0.10")
        if number < CHECKS - 1:
            checks.finish_check(by=lead, check=check)
    raising.raise_findings(by=lead, check=check)


def reason_where_asked(action) -> dict:
    import inspect

    asked = inspect.signature(action).parameters
    return {"why": "First of its kind."} if "why" in asked else {}


def a_floor() -> None:
    """A part from its lots to the pack: pulled, placed, drilled, held by clecos,
    checked, planned, offered, inspected and packed, with a photo."""
    from qa.actions import checks, inspections, offers
    from shop.actions import airframes
    from shop.models import Person
    from tests.qa.making import (
        make_check,
        make_fit_up,
        make_instrument,
        make_joint,
        make_position,
        make_type,
        read_all,
    )
    from tests.qa.planned import take
    from tests.shop.making import make_airframe
    from tests.shop.making_floor import make_pulled_part

    people = {one.role: one for one in Person.objects.all()}
    engineer, builder = people["engineer"], people["builder"]
    kind = make_type(engineer)
    frame = make_airframe(engineer, type=kind)
    door, around = (make_position(engineer, type=kind) for _ in range(2))
    joint = make_joint(engineer, position=door, surround=around)
    part = make_pulled_part(people["lead"])
    placed = {"airframe": frame, "position": door, "part": part}
    asked = reason_where_asked(airframes.place_part)
    airframes.place_part(by=people["lead"], **placed, **asked)
    fit_up = make_fit_up(engineer, joint, airframe=frame, part=part)
    gauge = make_instrument(engineer)
    said = {"fit_up": fit_up, "instrument": gauge}
    for gap in ("1.20", "2.20"):
        check = make_check(builder, **said)
        read_all(check, gap=gap)
        checks.finish_check(by=builder, check=check)
        if gap == "1.20":
            take(engineer, check)
    drilled(people, joint, part, frame, gauge)
    shown(builder, part)
    offer = offers.offer(by=builder, airframe=frame, joint=joint)
    row = offer.joints.get()
    inspector = people["inspector"]
    said = {"outcome": "rejected", "shown": row.digest}
    said["remarks"] = [inspections.Remark("1", "too tight at the hinge")]
    inspections.inspect(by=inspector, offered=row, **said)
    packed(inspector, frame, joint)


def drilled(people, joint, part, frame, gauge) -> None:
    """A hole pattern, its holes read on the part, clecos in them, film in the bay."""
    from qa.actions import temporary
    from qa.actions.holes import MeasuredHole, PatternHead, define_pattern, record_holes
    from qa.models import HolePattern
    from tests.qa.making import fresh
    from tests.qa.test_holes_pages import drafts

    said = {"number": fresh("HP"), "name": "Hinge to frame", "joint": joint}
    made = define_pattern(
        by=people["engineer"], holes=drafts(), says=PatternHead(), **said
    )
    pattern = HolePattern.objects.select_related("current").get(pk=made.pk)
    places = [MeasuredHole(str(n + 1), str(20 * n), "0", "4.10") for n in range(3)]
    said = {"revision": pattern.current, "part": part, "instrument": gauge}
    record_holes(by=people["builder"], measured=places, **said)
    at = {"by": people["builder"], "airframe": frame, "bay": joint.position}
    at["why"] = "while it is fitted"
    clecos = {"kind": "cleco", "count": 2, "size": "1/8 in", "spots": ["1", "2"]}
    temporary.put_in(**at, **clecos, joint=joint, pattern=pattern)
    temporary.put_in(**at, kind="film", count=1)


def shown(by, part) -> None:
    """A photo of the part."""
    import io

    from PIL import Image

    from shop.actions.photos import add_photo

    made = io.BytesIO()
    Image.new("RGB", (640, 480), "gray").save(made, "JPEG")
    add_photo(by=by, content=made.getvalue(), subject_kind="part", subject_id=part.pk)


def packed(by, frame, joint) -> None:
    """A pack of the joint, printed and issued."""
    from qa import press
    from qa.actions.packs import order_pack
    from qa.models import PackOrder
    from shop.ledger import sealer

    made = order_pack(by=by, airframe=frame, joint=joint)
    sealer.seal()
    order = PackOrder.objects.select_related(*press.RELATED).get(pk=made.pk)
    press.print_pack(order)
    press.take(order, by=by)
