"""Whether the server answers and can save, in a word for everybody; for the lead, how
it fares."""

from django.contrib.auth.decorators import login_not_required
from django.db import Error as DatabaseFails
from django.db import connection
from django.http import HttpResponse, JsonResponse
from django.shortcuts import render
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from shop import roles
from shop.queries.server import as_json, full_health
from shop.serving import storage_errors
from shop.version import version


@login_not_required
@never_cache
@require_safe
def health(request):
    """ok, or the one word that says why not."""
    if not _database_answers():
        return HttpResponse("database", status=503, content_type="text/plain")
    if storage_errors.has_room():
        return HttpResponse("ok", content_type="text/plain")
    return HttpResponse("full", status=507, content_type="text/plain")


def _database_answers() -> bool:
    try:
        with connection.cursor() as cursor:
            cursor.execute("SELECT 1")
    except DatabaseFails:
        return False
    return True


@require_safe
def health_details(request):
    """What the page of the server shows, for a program that looks after it."""
    roles.require(request.user, "plan backups")
    return JsonResponse({"version": version(), **as_json(full_health())})


@require_safe
def server(request):
    roles.require(request.user, "plan backups")
    context = {"health": full_health(), "version": version()}
    return render(request, "shop/health/server.html", context)
