"""Answers to requests that no page of their own can answer."""

from django.http import JsonResponse
from django.shortcuts import render
from django.utils.translation import gettext as _
from django.views import defaults

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
        told = {"code": "unreadable", "message": str(exception), "field": ""}
        return JsonResponse({"error": told}, status=400)
    return defaults.bad_request(request, exception)


def not_saved(request, failing):
    """Say what failed, on a page that can send what was posted once more.

    Passwords are typed again, and a file is chosen again.
    """
    typed = [
        (name, value)
        for name, values in request.POST.lists()
        if name != "csrfmiddlewaretoken" and name not in SECRET
        for value in values
    ]
    context = {"failing": failing, "typed": typed, "posted": request.method == "POST"}
    return render(request, "shop/errors/not_saved.html", context, status=failing.status)
