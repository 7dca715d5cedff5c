"""The tablet's empty shell and what lets it open without a network.

The shell holds no personal data and is the same bytes for everybody, so browsers may
keep it; who is there and what is measured comes by JSON from the api.
"""

import hashlib
import json
import posixpath
import re
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

from django.conf import settings
from django.contrib.auth.decorators import login_not_required
from django.contrib.staticfiles import finders
from django.http import Http404, HttpResponse, JsonResponse
from django.template.loader import render_to_string
from django.templatetags.static import static
from django.urls import reverse
from django.utils.safestring import mark_safe
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from shop.serving.compressed import Text
from shop.serving.minified import minify_script

STATIC = Path(__file__).resolve().parent.parent / "static" / "qa"
# On plain http there is no service worker: the browser's own cache opens the page.
KEEP = "public, max-age=86400, stale-while-revalidate=604800"
FOR_EVER = "public, max-age=31536000, immutable"
JAVASCRIPT, CSS = "text/javascript; charset=utf-8", "text/css; charset=utf-8"
HTML = "text/html; charset=utf-8"
# The module that the shell names, and all that it imports before it runs, open a check.
FIRST = "screens/page.js"
IMPORTED = re.compile(r"""\bfrom\s*["'](\.\.?/[a-z_/]+\.js)["']""")


@dataclass(frozen=True)
class Release:
    """Scripts and styles of the tablet under one digest, so that two releases never
    mix on a tablet."""

    digest: str
    files: dict[str, Text]

    def url(self, name: str) -> str:
        return reverse("tablet_file", args=[self.digest, name])

    def imported_by(self, name: str) -> list[str]:
        """Names of the modules that this one imports before it runs."""
        source = self.files[name].content.decode()
        folder = posixpath.dirname(name)
        return [
            posixpath.normpath(posixpath.join(folder, address))
            for address in IMPORTED.findall(source)
        ]

    def scripts(self) -> tuple[list[str], list[str]]:
        """Modules that opening a check runs, and those of the screens that load when
        they are asked for."""
        opening, left = [], [FIRST]
        while left:
            name = left.pop()
            if name not in opening:
                opening.append(name)
                left += self.imported_by(name)
        all_scripts = [name for name in self.files if name.endswith(".js")]
        return sorted(opening), [name for name in all_scripts if name not in opening]


def _read_release() -> Release:
    styles = [finders.find("shop/tokens.css"), STATIC / "tablet.css"]
    css = "".join(Path(path).read_text("utf-8") for path in styles)
    files = {"tablet.css": Text(CSS, css.encode())}
    folder = STATIC / "tablet"
    for path in sorted(folder.rglob("*.js")):
        script = minify_script(path.read_text("utf-8")).encode()
        files[path.relative_to(folder).as_posix()] = Text(JAVASCRIPT, script)
    digest = hashlib.sha256()
    for name, text in files.items():
        digest.update(f"{name} {text.digest} ".encode())
    return Release(digest.hexdigest()[:16], files)


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


def _render_shell() -> Text:
    release = _release()
    opening, later = release.scripts()
    context = {
        "opening": map(release.url, opening),
        "later": map(release.url, later),
        "page": release.url(FIRST),
        "styles": release.url("tablet.css"),
        "holders": _holders(),
    }
    return Text(HTML, render_to_string("qa/tablet/tablet.html", context).encode())


def _render_worker() -> Text:
    release = _release()
    files = [*map(release.url, release.files), static("shop/favicon.svg")]
    context = {
        "version": _shell().digest[:16],
        "shell": mark_safe(json.dumps(reverse("tablet"))),  # noqa: S308
        "files": mark_safe(json.dumps(files)),  # noqa: S308
    }
    return Text(JAVASCRIPT, render_to_string("qa/tablet/sw.js", context).encode())


def _kept(make):
    """Made once by a server that runs for real, each time while it is worked on."""
    kept = lru_cache(maxsize=1)(make)
    return lambda: make() if settings.DEBUG else kept()


_release, _shell, _worker = map(_kept, (_read_release, _render_shell, _render_worker))


@login_not_required
@require_safe
def shell(request, rest: str = "") -> HttpResponse:
    """The page below /tablet/, whatever the rest of the address: scripts read it."""
    return _shell().answer(request, KEEP)


@login_not_required
@require_safe
def release_file(request, digest: str, name: str) -> HttpResponse:
    """A script or the styles of the shell; what a digest names never changes."""
    release = _release()
    if digest != release.digest or name not in release.files:
        raise Http404
    return release.files[name].answer(request, FOR_EVER)


@login_not_required
@require_safe
def service_worker(request) -> HttpResponse:
    """The script that opens the shell without a network, where the page is secure."""
    return _worker().answer(request, "no-cache")


@login_not_required
@require_safe
def manifest(request) -> JsonResponse:
    """What a tablet needs to put the page on its home screen."""
    icon = {"src": static("shop/favicon.svg"), "sizes": "any", "type": "image/svg+xml"}
    content = {
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
        content,
        content_type="application/manifest+json",
        headers={"Cache-Control": KEEP},
    )
