"""What the API tells."""

import uuid
from functools import wraps
from inspect import signature
from typing import Annotated, Literal

from django.http import Http404
from django.shortcuts import get_object_or_404
from ninja import Path, Query, Router
from ninja.errors import ValidationError as Unreadable
from pydantic import Field

from qa.models import Check, Joint, State
from qa.queries.scripts import checks, floor, joints, quality
from shop import roles
from shop.models import PartState
from shop.models.tooling import ToolKind

from . import shapes
from .access import reads

router = Router()
NO = frozenset({400, 401, 403, 404, 422, 429, 500, 503})
Name = shapes.text(60)
Asked = Query[shapes.Page]
Key = Annotated[int, Field(ge=1, le=shapes.LARGEST)]


def _of(request, row):
    """What was found, to who may look; 404 where there is none."""
    roles.require(request.user, "look")
    if row is None:
        raise Http404
    return row


def tells(address: str, shape, words: str):
    """A view of GET that answers with a shape, all of it read at one moment."""

    def wrap(view):
        answers = {200: shape, NO: shapes.Problem}
        reading = reads(_of_what_it_takes(view))
        return router.get(address, response=answers, summary=words)(reading)

    return wrap


def _of_what_it_takes(view):
    """Refuse what an address does not take: a filter with a slip in its name would
    answer with all rows."""
    known = set(signature(view).parameters)
    if "page" in known:
        known = known - {"page"} | set(shapes.Page.model_fields)

    @wraps(view)
    def careful(request, *args, **kwargs):
        if unknown := sorted(set(request.GET) - known):
            raise Unreadable([{"type": "extra_forbidden", "loc": ("query", *unknown)}])
        return view(request, *args, **kwargs)

    return careful


@tells("/airframes", shapes.Airframes, "Airframes")
def airframes(request, page: Asked):
    return _of(request, floor.airframes(page.after, page.most))


@tells("/airframes/{airframe}", shapes.Airframe, "One airframe")
def airframe(request, airframe: uuid.UUID):
    return _of(request, floor.airframe(airframe))


@tells("/parts", shapes.Parts, "Parts, those of one part number, those in one state")
def parts(
    request,
    page: Asked,
    design: Name = "",
    state: Literal["", *PartState.values] = "",
):
    return _of(request, floor.parts(page.after, page.most, design, state))


@tells("/parts/{part}", shapes.Part, "One part")
def part(request, part: uuid.UUID):
    return _of(request, floor.part(part))


@tells("/tools", shapes.Tools, "Plugs, molds, jigs and what is on loan")
def tools(request, page: Asked, kind: Literal["", *ToolKind.values] = ""):
    return _of(request, floor.tools(page.after, page.most, kind))


@tells("/tools/one", shapes.Tool, "One plug, mold or jig, by its code")
def tool(request, code: Name):
    return _of(request, floor.tool(code))


@tells("/pulls", shapes.Pulls, "Pulls, those of one mold")
def pulls(request, page: Asked, tool: Name = ""):
    return _of(request, floor.pulls(page.after, page.most, tool))


@tells("/joints", shapes.Joints, "Joints, with their newest revision")
def joint_list(request, page: Asked):
    return _of(request, joints.joints(page.after, page.most))


@tells("/joints/{joint}", shapes.WholeJoint, "One joint: stations and limits")
def joint(request, joint: uuid.UUID):
    return _of(request, joints.joint(joint))


@tells(
    "/joints/{joint}/standing",
    list[shapes.Standing],
    "Where a joint stands on each airframe",
)
def standing(request, joint: uuid.UUID):
    roles.require(request.user, "look")
    return joints.standing(get_object_or_404(Joint, uuid=joint))


@tells("/fit-ups", shapes.FitUps, "Fit-ups: what a check is started in")
def fit_ups(
    request,
    page: Asked,
    joint: uuid.UUID | None = None,
    airframe: uuid.UUID | None = None,
):
    return _of(request, joints.fit_ups(page.after, page.most, joint, airframe))


@tells("/checks", shapes.Checks, "Checks")
def check_list(
    request,
    page: Asked,
    joint: uuid.UUID | None = None,
    airframe: uuid.UUID | None = None,
    state: Literal["", "open", "finished"] = "",
):
    rows = checks.checks(page.after, page.most, joint, airframe, state)
    return _of(request, rows)


@tells("/checks/{check}", shapes.Check, "One check")
def check(request, check: uuid.UUID):
    return _of(request, checks.check(check))


@tells("/checks/{check}/readings", shapes.Readings, "Readings of a check, as they came")
def readings(request, page: Asked, check: uuid.UUID):
    roles.require(request.user, "look")
    row = get_object_or_404(Check, entry_id=check)
    return checks.readings(row, page.after, page.most)


@tells("/instruments", shapes.Instruments, "Instruments")
def instruments(request, page: Asked):
    return _of(request, quality.instruments(page.after, page.most))


@tells(
    "/instruments/{instrument}",
    shapes.WholeInstrument,
    "One instrument, with its calibrations",
)
def instrument(request, instrument: uuid.UUID):
    return _of(request, quality.instrument(instrument))


@tells("/nonconformances", shapes.Items, "Nonconformances")
def items(
    request,
    page: Asked,
    airframe: uuid.UUID | None = None,
    state: Literal["", *State.values] = "",
):
    return _of(request, quality.items(page.after, page.most, airframe, state))


@tells("/nonconformances/{item}", shapes.WholeItem, "One nonconformance, step by step")
def item(request, item: Path[Key]):
    return _of(request, quality.item(item))
