"""Answers to requests that no page of their own can answer."""

import sys

from django.http import JsonResponse
from django.shortcuts import render
from django.utils.translation import gettext as _
from django.views import defaults

from shop.serving.storage_errors import what_failed

SECRET = {"password", "new", "again", "pin", "secret", "code"}


def csrf_failure(request, reason: str = ""):
    """Say that a form was too old to be sent; to a tablet, say so in its own form."""
    if request.path.startswith("/api/"):
        error = {"code": "csrf", "message": _("Open the page again."), "field": None}
        return JsonResponse({"error": error}, status=403)
    return render(request, "403_csrf.html", status=403)


def bad_request(request, exception):
    """Say that an address cannot be read; to a device, in its own form."""
    if request.path.startswith("/api/"):
        error = {"code": "unreadable", "message": str(exception), "field": ""}
        return JsonResponse({"error": error}, status=400)
    return defaults.bad_request(request, exception)


def server_error(request):
    """Say what the database or the disk refused, wherever in the site that was met; of
    anything else, that it is a fault of ours."""
    failing = what_failed(sys.exception())
    if failing is None:
        return defaults.server_error(request)
    if request.path.startswith("/api/"):
        error = {"code": failing.code, "message": failing.message, "field": ""}
        error["short"] = failing.short
        return JsonResponse({"error": error}, status=failing.status)
    return _not_saved(request, failing)


def _not_saved(request, failing):
    """Say what failed, on a page that can send what was posted once more, and that asks
    the database nothing.

    Passwords are typed again, and a file is chosen again.
    """
    typed = [
        (name, value)
        for name, values in request.POST.lists()
        if name != "csrfmiddlewaretoken" and name not in SECRET
        for value in values
    ]
    context = {
        "failing": failing,
        "typed": typed,
        "posted": request.method == "POST",
        "read": bool(request.POST),  # the token at least, where it could be read
    }
    answer = render(
        request, "shop/errors/not_saved.html", context, status=failing.status
    )
    answer["Cache-Control"] = "no-store"
    return answer
