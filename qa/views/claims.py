"""Claimed acts and late readings: answered row by row."""

from django.core.exceptions import PermissionDenied
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods

from qa.actions.claims import answer_claim
from qa.actions.late_readings import decide_late
from qa.forms.claims import CLAIMED, LATE, AnswersForm
from qa.models import Check, Reading
from qa.queries.checks import check_pages as check_queries
from qa.queries.checks import claims as queries
from qa.queries.checks.unconfirmed import doubts_of
from shop import roles
from shop.ledger import Refused
from shop.models import Entry
from shop.views.account import back
from shop.views.acting import posted

# So many rows at once: who was away for a week answers page by page.
MOST = 60
form_view = require_http_methods(["GET", "HEAD", "POST"])


def _answer(form, verb) -> bool:
    """Run a verb for each row that was answered; a refusal stands beside its row."""
    if not form.is_valid():
        return False
    for key, answer, reason in form.answers:
        try:
            verb(key, answer, reason)
        except (Refused, PermissionDenied) as no:
            field = "why" if getattr(no, "field", "") == "reason" else "answer"
            form.add_error(f"{field}-{key}", str(no))
    return not form.errors


@form_view
def claims(request):
    """Confirm or disown, one by one, what was sent in the reader's name."""
    roles.require(request.user, "look")
    waiting = queries.waiting_of(request.user)
    count = waiting.count()
    rows = queries.claims(list(waiting.select_related("by")[:MOST]))
    # What was answered meanwhile on a tablet is told beside its row, not forgotten.
    form = AnswersForm(
        posted(request),
        keys={row.act: row.what for row in rows},
        answers=CLAIMED,
        ask_why={"disowned"},
    )

    def verb(key, answer, reason):
        entry = Entry.objects.get(act=key)
        answer_claim(by=request.user, entry=entry, verdict=answer, reason=reason)

    onward = back(request)
    if request.method == "POST" and rows and _answer(form, verb):
        return redirect(
            request.get_full_path() if count > len(form.answers) else onward
        )
    context = {
        "form": form,
        "rows": form.rows({row.act: row for row in rows}),
        "count": count,
        "more": count - len(rows),
        "onward": onward,
    }
    return render(request, "qa/claims/claims.html", context)


@form_view
def late_readings(request, uuid):
    """Count late readings of a finished check in, or leave them out."""
    checks = Check.objects.select_related(*check_queries.RELATED)
    check = roles.fetch(request.user, "measure", checks, entry_id=uuid)
    doubts = doubts_of(check, request.user.units)
    waiting = {aside.act: aside for aside in doubts.asides if aside.waits}
    form = AnswersForm(
        posted(request),
        keys={act: aside.place for act, aside in waiting.items()},
        answers=LATE,
        ask_why={"in", "out"},
    )

    def verb(key, answer, reason):
        readings = Reading.objects.select_related("entry__confirmation", "station")
        decide_late(
            by=request.user,
            check=check,
            reading=readings.get(entry_id=key),
            counted=answer == "in",
            reason=reason,
        )

    if request.method == "POST" and waiting and _answer(form, verb):
        return redirect("check", uuid=uuid)
    stands = {
        (current.station.label, current.kind): current.reading
        for current in check.current.select_related("station", "reading")
    }
    rows = [
        (row, stands.get((row.station, row.kind)), answer, why)
        for row, answer, why in form.rows(waiting)
    ]
    context = {"form": form, "check": check, "rows": rows, "doubts": doubts}
    return render(request, "qa/claims/late_readings.html", context)
