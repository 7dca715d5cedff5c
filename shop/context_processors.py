"""What every page's furniture needs: the shop's name, the theme, the places to go."""

import functools
from dataclasses import dataclass

from django.urls import NoReverseMatch, get_script_prefix, reverse
from django.utils.functional import SimpleLazyObject
from django.utils.translation import gettext_lazy as _

from shop.forms.account import THEME_COOKIE, THEMES
from shop.queries.identity import the_shop

# Label and url name; a place whose url does not exist is left out.
PLACES = (
    (_("Today"), "today"),
    (_("Joints"), "joints"),
    (_("Fit checks"), "checks"),
    (_("Nonconformances"), "nonconformances"),
    (_("Airframes"), "airframes"),
    (_("Parts"), "parts"),
    (_("Tooling"), "tooling"),
    (_("Materials"), "materials"),
)


# Beginnings of addresses, by the place a person would look for those pages under.
BESIDE = {
    "joints": ("holes/", "positions/"),
    "checks": (
        *("shims/", "instruments/", "plan-defaults/", "offers/", "gauge-studies/"),
        *("sampling/", "plans/"),
    ),
    "airframes": ("temporary/", "characteristics/", "packs/"),
    "parts": ("pairs/",),
    "tooling": ("holds/", "labels/", "molds/", "corrections/"),
}


@dataclass(frozen=True)
class Place:
    label: str
    url: str
    current: bool


def url_of(name: str) -> str | None:
    """Return the address of a url name, or None when there is no such url."""
    return _url_of(name, get_script_prefix())


@functools.cache
def _url_of(name: str, _prefix: str) -> str | None:
    try:
        return reverse(name)
    except NoReverseMatch:
        return None


def places(path: str) -> list[Place]:
    """The navigation for a page at `path`; the place it lies under is current."""
    reachable = [(label, url) for label, name in PLACES if (url := url_of(name))]
    # The front page is above every page: it is current only when it is this one.
    front = url_of("front")
    under = [
        url
        for _label, name in PLACES
        if (url := url_of(name))
        and (path == url or url != front and path.startswith(roots(name, url)))
    ]
    current = max(under, key=len, default=None)
    return [Place(str(label), url, url == current) for label, url in reachable]


def roots(name: str, url: str) -> tuple[str, ...]:
    """The beginnings of the addresses that lie under a place."""
    front = url_of("front") or "/"
    return url, *(f"{front}{beginning}" for beginning in BESIDE.get(name, ()))


def theme_of(request) -> str:
    """The theme this browser asked for: "auto", "light" or "dark"."""
    theme = request.COOKIES.get(THEME_COOKIE, "auto")
    return theme if theme in THEMES else "auto"


def _shop_name(request) -> str:
    """As the lead said it; an open page asks only if it shows it."""
    known = getattr(request, "shop", None) or the_shop()
    return known.name


def site(request) -> dict:
    """Context processor of every page."""
    return {
        "shop_name": SimpleLazyObject(lambda: _shop_name(request)),
        "theme": theme_of(request),
        "themes": THEMES.items(),
        "nav": places(request.path),
        "front_url": url_of("front") or "/",
        "search_url": url_of("search"),
    }
