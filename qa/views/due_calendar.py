"""The calendar of what is due, by its secret address."""

from datetime import UTC

from django.contrib.auth.decorators import login_not_required
from django.http import Http404, HttpResponse
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from qa.paper.due_calendar import render
from qa.queries.due import calendar_of
from shop.actions import devices
from shop.ledger.snapshot import snapshot
from shop.models import Opens
from shop.queries.identity import in_zone, the_shop
from shop.queries.incarnations import database_ids
from shop.views.account import address


@require_safe
@login_not_required
@never_cache
def feed(request, token):
    """What its device may be told; 404 for any other token, as if nothing were here."""
    device = devices.device_of(token, Opens.CALENDAR)
    if device is None:
        where = address(request)
        if not devices.may_try(where):
            return HttpResponse(status=429)
        devices.count_wrong(where)
        raise Http404
    devices.note_seen(device)
    in_zone(the_shop().time_zone)
    with snapshot():
        content = render(
            calendar_of(device),
            made_at=timezone.now().astimezone(UTC),
            root=request.build_absolute_uri("/"),
            # The first copy's: what was restored keeps its ids.
            database=database_ids()[-1],
        )
    answer = HttpResponse(content, content_type="text/calendar; charset=utf-8")
    answer["Content-Disposition"] = 'attachment; filename="due.ics"'
    return answer
