"""What the API records: each act once, by the id that its sender chose."""

import uuid

from ninja import Path, Status

from qa import scripted

from . import shapes
from .access import writes
from .reading import NO, Key, router


def records(address: str, words: str):
    """A view of PUT that answers with a receipt: 201 the first time, then 200."""

    def wrap(view):
        answers = {200: shapes.Receipt, 201: shapes.Receipt}
        answers[NO | {409, 413, 507}] = shapes.Problem
        return router.put(address, response=answers, summary=words)(writes(view))

    return wrap


def _take(request, act: uuid.UUID, form: str, body, **where):
    sent = {**body.model_dump(mode="json", exclude_none=True), **where}
    receipt, new = scripted.take(request.device, act, form, sent)
    return Status(201 if new else 200, receipt)


@records("/checks/{check}", "Start a check; the id is the check's from now on")
def start_check(request, check: uuid.UUID, body: shapes.NewCheck):
    sent = body.model_dump(mode="json", exclude_none=True)
    sent["fitup"] = sent.pop("fit_up")
    if degrees := sent.pop("temperature_c", None):
        sent["temperature"] = degrees
    receipt, new = scripted.take(request.device, check, "check/2", sent)
    return Status(201 if new else 200, receipt)


@records("/checks/{check}/readings/{act}", "Send one reading of a gauge")
def read(request, check: uuid.UUID, act: uuid.UUID, body: shapes.NewReading):
    return _take(request, act, "reading/1", body, check=str(check))


@records("/checks/{check}/finish/{act}", "Finish a check")
def finish(request, check: uuid.UUID, act: uuid.UUID, body: shapes.Finish):
    return _take(request, act, "finish/1", body, check=str(check))


@records("/nonconformances/new/{act}", "Raise a nonconformance")
def raise_item(request, act: uuid.UUID, body: shapes.NewItem):
    return _take(request, act, "nonconformance/1", body)


@records("/nonconformances/{item}/remarks/{act}", "Remark on a nonconformance")
def remark(request, item: Path[Key], act: uuid.UUID, body: shapes.Remark):
    return _take(request, act, "nonconformance_step/1", body, item=item)


@records("/instruments/{instrument}/calibrations/{act}", "Record a calibration")
def calibrate(
    request, instrument: uuid.UUID, act: uuid.UUID, body: shapes.NewCalibration
):
    return _take(request, act, "calibration/1", body, instrument=str(instrument))
