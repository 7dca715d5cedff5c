"""The tablet's empty shell and what lets it open without a network.

The shell holds no personal data and is the same bytes for everybody, so browsers may
keep it; who is there and what is measured comes by JSON from the api.
"""

import hashlib
import json
from functools import lru_cache
from pathlib import Path

from django.conf import settings
from django.contrib.auth.decorators import login_not_required
from django.http import HttpResponse, JsonResponse
from django.template.loader import render_to_string
from django.templatetags.static import static
from django.urls import reverse
from django.utils.safestring import mark_safe
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

OWN = Path(__file__).resolve().parent.parent / "static" / "qa"
STYLES = ("shop/tokens.css", "qa/tablet.css")
# On plain http there is no service worker: the browser's own cache opens the page.
KEEP = "public, max-age=86400, stale-while-revalidate=604800"


def _modules() -> list[str]:
    return [static(f"qa/tablet/{one.name}") for one in sorted(OWN.glob("tablet/*.js"))]


def _holders() -> list[tuple[str, str]]:
    """Ways to hold a part, as the fit-up's act names them."""
    return [
        ("cleco", _("clecos")),
        ("hinge", _("hinges")),
        ("latch", _("latches")),
        ("screw", _("screws")),
        ("strap", _("straps")),
        ("clamp", _("clamps")),
        ("shim", _("shims")),
        ("tape", _("tape")),
        ("prop", _("props")),
        ("weight", _("weights")),
        ("other", _("other")),
    ]


def _render_shell() -> bytes:
    context = {"modules": _modules(), "holders": _holders()}
    return render_to_string("qa/tablet.html", context).encode()


def _render_worker() -> bytes:
    shell = _render_shell()
    digest = hashlib.sha256(shell)
    for path in sorted([*OWN.glob("tablet/*.js"), OWN / "tablet.css"]):
        digest.update(path.read_bytes())
    files = [*_modules(), *map(static, STYLES), static("shop/favicon.svg")]
    context = {
        "version": digest.hexdigest()[:16],
        "shell": mark_safe(json.dumps(reverse("tablet"))),  # noqa: S308
        "files": mark_safe(json.dumps(files)),  # noqa: S308
    }
    return render_to_string("qa/sw.js", context).encode()


_kept_shell = lru_cache(maxsize=1)(_render_shell)
_kept_worker = lru_cache(maxsize=1)(_render_worker)


@login_not_required
@require_safe
def shell(request, rest: str = "") -> HttpResponse:
    """The page below /tablet/, whatever the rest of the address: scripts read it."""
    body = _render_shell() if settings.DEBUG else _kept_shell()
    return HttpResponse(body, headers={"Cache-Control": KEEP})


@login_not_required
@require_safe
def service_worker(request) -> HttpResponse:
    """The script that opens the shell without a network, where the page is secure."""
    body = _render_worker() if settings.DEBUG else _kept_worker()
    headers = {"Cache-Control": "no-cache"}
    return HttpResponse(body, content_type="text/javascript", headers=headers)


@login_not_required
@require_safe
def manifest(request) -> JsonResponse:
    """What a tablet needs to put the page on its home screen."""
    icon = {"src": static("shop/favicon.svg"), "sizes": "any", "type": "image/svg+xml"}
    told = {
        "name": _("Fayline tablet"),
        "short_name": "Fayline",
        "start_url": reverse("tablet"),
        "scope": reverse("tablet"),
        "display": "standalone",
        "background_color": "#ffffff",
        "theme_color": "#ffffff",
        "icons": [icon],
    }
    return JsonResponse(
        told,
        content_type="application/manifest+json",
        headers={"Cache-Control": KEEP},
    )
