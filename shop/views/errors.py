"""Answers to requests that were refused before any page saw them."""

from django.http import JsonResponse
from django.shortcuts import render
from django.utils.translation import gettext as _


def csrf_failure(request, reason: str = ""):
    """Say that a form was too old to be sent; to a tablet, say so in its own form."""
    if request.path.startswith("/api/"):
        error = {"code": "csrf", "message": _("Open the page again."), "field": None}
        return JsonResponse({"error": error}, status=403)
    return render(request, "403_csrf.html", status=403)
