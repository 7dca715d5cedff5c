"""What is sent and what is answered: checked and described from one place."""

import datetime as dt
import uuid
from typing import Annotated, Literal

from ninja import Schema
from pydantic import ConfigDict, Field

from shop.forms.fields import FIRST_DAY, LAST_DAY

LARGEST = 2**63 - 1
MOST = 200
NUMBER = r"^[+-]?[0-9]{1,12}([.,][0-9]{1,8})?$"
Decimal = Annotated[str, Field(pattern=r"^-?[0-9]+(\.[0-9]+)?$", examples=["0.62"])]
Typed = Annotated[str, Field(pattern=NUMBER, max_length=24, examples=["0.62"])]
Unit = Literal["mm", "in"]
Kind = Literal["gap", "flush"]
Day = Annotated[dt.date, Field(ge=FIRST_DAY, le=LAST_DAY)]
Moment = Annotated[str, Field(examples=["2026-11-29T09:37:00.000000Z"])]


def text(longest: int, shortest: int = 0):
    """A text of at least and at most so many signs; no field is left unbounded."""
    return Annotated[str, Field(min_length=shortest, max_length=longest)]


class RequestBody(Schema):
    """What is sent: a name that is not known is a mistake, and told."""

    model_config = ConfigDict(extra="forbid")


class Page(Schema):
    """How many rows, and after which: `next` of the answer before."""

    after: Annotated[int | None, Field(ge=0, le=LARGEST)] = None
    most: Annotated[int, Field(ge=1, le=MOST)] = 100


class What(Schema):
    """Why not: a code for programs, words for people, the field that caused it."""

    code: str
    message: str
    field: str


class Problem(Schema):
    error: What


class Limits(Schema):
    min: Decimal | None
    max: Decimal | None
    unit: Literal["mm"]


class Receipt(Schema):
    """That it is on record. The same act sent again has the same receipt."""

    act: uuid.UUID
    database: uuid.UUID
    entry: int
    digest: str
    received_at: Moment
    result: dict


class Airframe(Schema):
    airframe: uuid.UUID
    serial: str
    name: str
    type: str
    line_number: int


class Airframes(Schema):
    items: list[Airframe]
    next: int | None


class Part(Schema):
    part: uuid.UUID
    serial: str
    design: str
    revision: str
    name: str
    state: str
    mass_g: Decimal | None
    mass_is_estimate: bool


class Parts(Schema):
    items: list[Part]
    next: int | None


class Tool(Schema):
    code: str
    name: str
    kind: str
    design: str | None
    state: str
    state_reason: str
    place: str
    last_pull: int
    pulls_since_wax: int
    pulls_since_service: int
    service_interval: int | None
    due_back: dt.date | None
    calibration_due: dt.date | None


class Tools(Schema):
    items: list[Tool]
    next: int | None


class Pull(Schema):
    tool: str
    number: int
    laminate: str
    state: str
    cure: str | None
    temperature_c: Decimal | None
    started_at: Moment | None
    closed_at: Moment | None
    release_from: Moment | None
    demolded_at: Moment | None


class Pulls(Schema):
    items: list[Pull]
    next: int | None


class Joint(Schema):
    joint: uuid.UUID
    number: str
    name: str
    type: str
    part_position: str
    surround_position: str
    revision: int | None
    closed: bool | None
    rule: str | None
    source: str


class Joints(Schema):
    items: list[Joint]
    next: int | None


class Station(Schema):
    station: str
    x: Decimal
    y: Decimal
    z: Decimal
    unit: Literal["mm"]
    gap: Limits
    flush: Limits


class WholeJoint(Joint):
    stations: list[Station]


class Check(Schema):
    """A check; of its places so many conform, do not, are not proven, were skipped."""

    check: uuid.UUID
    label: str
    joint: uuid.UUID
    joint_number: str
    airframe: uuid.UUID
    part: str
    fit_up: uuid.UUID
    finish: str
    instrument: str | None
    temperature_c: Decimal | None
    state: Literal["open", "finished", "void"]
    started_at: Moment | None
    finished_at: Moment | None
    wanted: int
    conforms: int
    does_not_conform: int
    not_proven: int
    skipped: int
    without_limits: int
    clashes: int
    late: int


class Checks(Schema):
    items: list[Check]
    next: int | None


class Standing(Schema):
    """Where a joint stands on one airframe: its newest fit-up, its newest check, and
    what happened since that check began; then what it found stands no more"""

    airframe: uuid.UUID
    serial: str
    fit_up: uuid.UUID
    part: str
    check: Check | None
    changed_since: list[str]


class FitUp(Schema):
    fit_up: uuid.UUID
    number: int
    joint: uuid.UUID
    airframe: uuid.UUID
    part: str
    surround_part: str | None
    reason: str
    held: str


class FitUps(Schema):
    items: list[FitUp]
    next: int | None


class Reading(Schema):
    """A reading as it was typed, and as it was judged, in mm."""

    reading: uuid.UUID
    station: str
    kind: Kind
    outcome: Literal["value", "feeler", "skipped", "cleared"]
    value: str | None
    goes: str | None
    does_not_go: str | None
    unit: Unit | None
    judged: Decimal | None
    limits: Limits
    standard_uncertainty: Decimal | None
    verdict: Literal["conforms", "does_not_conform", "not_proven"] | None
    stands: bool
    late: bool
    reason: str
    by: str
    at: Moment


class Readings(Schema):
    items: list[Reading]
    next: int | None


class Instrument(Schema):
    instrument: uuid.UUID
    code: str
    name: str
    kind: str
    status: str
    found_off_on: dt.date | None
    due: dt.date | None
    reads: Limits
    standard_uncertainty: Decimal | None


class Instruments(Schema):
    items: list[Instrument]
    next: int | None


class Calibration(Schema):
    done_on: dt.date
    laboratory: str
    certificate: str
    result: str
    error: Decimal | None
    unit: Literal["mm"]
    due: dt.date | None
    note: str


class WholeInstrument(Instrument):
    calibrations: list[Calibration]


class Item(Schema):
    item: int
    label: str
    airframe: uuid.UUID
    joint: uuid.UUID | None
    part: str | None
    check: uuid.UUID | None
    title: str
    requirement: str
    found: str
    place: str
    stations: list[str]
    state: str
    disposition: str | None
    severity: str | None
    blocking: bool
    holder: str | None
    due: dt.date | None
    opened_at: Moment | None
    closed_at: Moment | None


class Items(Schema):
    items: list[Item]
    next: int | None


class Step(Schema):
    verb: str
    note: str
    by: str
    at: Moment


class WholeItem(Item):
    steps: list[Step]


class NewCheck(RequestBody):
    fit_up: uuid.UUID
    finish: Literal["bare", "finished"]
    instrument: uuid.UUID | None = None
    temperature_c: Typed | None = None
    in_acceptance_condition: bool = False
    note: text(400) = ""


class NewReading(RequestBody):
    """One value with its unit, or a feeler pair, or why there is none."""

    station: text(20, 1)
    kind: Kind
    outcome: Literal["value", "feeler", "skipped", "cleared"] = "value"
    value: Typed | None = None
    goes: Typed | None = None
    does_not_go: Typed | None = None
    unit: Unit | None = None
    supersedes: uuid.UUID | None = None
    reason: text(200) = ""


class Finish(RequestBody):
    note: text(400) = ""


class NewItem(RequestBody):
    airframe: uuid.UUID
    title: text(200, 1)
    joint: uuid.UUID | None = None
    part: uuid.UUID | None = None
    stations: text(200) = ""
    requirement: text(200) = ""
    found: text(200) = ""
    place: text(200) = ""
    note: text(2000) = ""


class Remark(RequestBody):
    note: text(400, 1)


class NewCalibration(RequestBody):
    done_on: Day
    laboratory: text(120, 1)
    result: Literal["good", "adjusted", "off"]
    certificate: text(120) = ""
    unit: Unit = "mm"
    error: Typed | None = None
    expanded: Typed | None = None
    factor: Annotated[
        str | None, Field(pattern=r"^[0-9]{1,2}(\.[0-9]{1,3})?$", examples=["2"])
    ] = None
    due: Day | None = None
    note: text(400) = ""
