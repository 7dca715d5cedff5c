"""What a gauge or a script sends: as a tablet does (qa.sync), and what no tablet does.

The same actions underneath; `content` holds what was sent, as JSON.
"""

import datetime as dt
import uuid

from qa import envelopes, sync
from qa.actions import gauges, nonconformances, raising
from qa.envelopes import ActContent
from qa.models import Instrument, Joint, Nonconformance, Reading
from qa.rules.judging import typed_length
from shop.ledger import Refused
from shop.models import Airframe, Device, Part, Person
from shop.queries.incarnations import database_id


def _reading(by: Person, content: ActContent, envelope: dict) -> Reading:
    typed = any(content.text(name, 24) for name in ("value", "goes", "does_not_go"))
    if typed and not content.text("unit", 2):
        raise Refused("Say the unit: mm or in.", field="unit")
    return sync.FORMS["reading/1"](by, content, envelope)


def _raise(by: Person, content: ActContent, envelope: dict) -> None:
    texts = ("title", "stations", "requirement", "found", "place")
    raising.raise_by_hand(
        by=by,
        airframe=content.row("airframe", Airframe.objects.all(), key="uuid"),
        joint=content.row(
            "joint",
            Joint.objects.select_related("current"),
            key="uuid",
            missing_ok=True,
        ),
        part=content.row("part", Part.objects.all(), key="uuid", missing_ok=True),
        note=content.text("note", 2000),
        **{name: content.text(name, 200) for name in texts},
        **envelope,
    )


def _remark(by: Person, content: ActContent, envelope: dict) -> None:
    nonconformances.remark(
        by=by,
        item=content.row("item", Nonconformance.objects.all()),
        note=content.text("note"),
        **envelope,
    )


def _calibrate(by: Person, content: ActContent, envelope: dict) -> None:
    unit = content.text("unit", 2)
    expanded = _length(content, "expanded", unit)
    factor = content.text("factor", 6)
    if expanded is not None and not factor:
        raise Refused("Say which factor it was stated with.", field="factor")
    if expanded is not None and expanded < 0:
        raise Refused("This must be 0 or more.", field="expanded")
    done, due = _date(content, "done_on"), _date(content, "due")
    if due and due < done:
        raise Refused("This is before it was done.", field="due")
    gauges.record_calibration(
        by=by,
        instrument=content.row("instrument", Instrument.objects.all(), key="uuid"),
        envelope=envelope,
        done_on=done,
        due=due,
        result=content.text("result", 8),
        laboratory=content.text("laboratory", 120),
        certificate=content.text("certificate", 120),
        error_nm=_length(content, "error", unit),
        expanded_nm=expanded,
        k_e3=None if expanded is None else _thousandths(factor),
        note=content.text("note"),
    )


def _length(content: ActContent, name: str, unit: str) -> int | None:
    text = content.text(name, 24)
    return typed_length(text, unit, name) if text else None


def _thousandths(text: str) -> int:
    whole, _, part = text.partition(".")
    return int(whole + part.ljust(3, "0"))


def _date(content: ActContent, name: str) -> dt.date | None:
    text = content.text(name, 10)
    return dt.date.fromisoformat(text) if text else None


FORMS = {
    "check/2": sync.FORMS["check/2"],
    "reading/1": _reading,
    "finish/1": sync.FORMS["finish/1"],
    "nonconformance/1": _raise,
    "nonconformance_step/1": _remark,
    "calibration/1": _calibrate,
}


def take(device: Device, act: uuid.UUID, form: str, content: dict) -> tuple[dict, bool]:
    """Perform what a device sent, once; return its receipt and whether it was new."""
    envelope = envelopes.check_envelope(
        {"form": form, "said": content, "device": str(device.pk)}
    )
    entry, new = sync.take(act, envelope, device.person, forms=FORMS)
    return sync.receipt(entry, database_id()), new
