"""Every page of a site, one row for each: what its own pages lead to, and the API."""

import html
import re
from urllib.parse import urlencode

from django.urls import NoReverseMatch, Resolver404, get_resolver, resolve, reverse

LINK = re.compile(r'(?:href|src)="(/[^"#]*)"')
# What ends the session or makes keys anew for every reader.
LEFT_OUT = {"sign_out", "read_changes", "trust_certificate", "service_worker"}
BEYOND = 10**9  # where no page is the last one is shown
SEARCHED = {"search": {"q": "S-0002"}, "nonconformances": {"q": "dent"}}


def addresses(client) -> dict[str, str]:
    """An address for each url name that a page leads to: rows as the pages show them
    first; of lists the last page too, and the file of all of it."""
    found = {
        name: "/" + address
        for name, address in walk(get_resolver().url_patterns)
        if name and "<" not in address
    }
    waiting = list(found)
    while waiting:
        page = client.get(found[waiting.pop(0)])
        if "text/html" not in page.headers.get("Content-Type", ""):
            continue
        for link in map(html.unescape, LINK.findall(page.content.decode())):
            name = name_of(link)
            if name and name not in found:
                found[name] = link
                waiting.append(name)
    for name, address in list(found.items()):
        found |= variants(client, name, address)
    return {key: found[key] for key in sorted(found) if key not in LEFT_OUT}


def variants(client, name: str, address: str) -> dict[str, str]:
    """The last page of a list, its file, and what is searched for in it."""
    page = client.get(address)
    if "text/html" not in page.headers.get("Content-Type", ""):
        return {}
    path = address.partition("?")[0]
    text, found = html.unescape(page.content.decode()), {}
    if re.search(r"[?&]page=\d", text):
        found[f"{name} ?page=last"] = f"{path}?page={BEYOND}"
    if re.search(r"[?&]as=csv", text):
        found[f"{name} ?as=csv"] = f"{path}?as=csv"
    if name in SEARCHED:
        found[f"{name} ?q"] = f"{path}?{urlencode(SEARCHED[name])}"
    return found


def name_of(link: str) -> str:
    try:
        return resolve(link.partition("?")[0]).url_name or ""
    except Resolver404:
        return ""


def walk(patterns, before=""):
    for one in patterns:
        here = before + str(one.pattern)
        if hasattr(one, "url_patterns"):
            yield from walk(one.url_patterns, here)
        elif not here.startswith("^") and "/^" not in here:
            yield one.name, here


def unreached(found: dict[str, str]) -> list[str]:
    """The url names that no page leads to."""
    names = {name for name, _address in walk(get_resolver().url_patterns) if name}
    return sorted(names - set(found) - LEFT_OUT)


def of_scripts() -> dict[str, str]:
    """What the API tells: every address of GET with a key, and the second of lists."""
    from qa.models import Check, Instrument, Joint, Nonconformance
    from shop.models import Airframe, Part, Tool

    newest = {
        "airframe": Airframe.objects.latest("pk").uuid,
        "part": Part.objects.latest("pk").uuid,
        "joint": Joint.objects.latest("pk").uuid,
        "check": Check.objects.latest("pk").entry_id,
        "instrument": Instrument.objects.latest("pk").uuid,
        "item": Nonconformance.objects.latest("pk").entry_id,
    }
    found = {}
    for name, address in walk(get_resolver().url_patterns):
        if not name or not name.startswith("script_") or name == "script_unknown":
            continue
        keys = re.findall(r"<(?:\w+:)?(\w+)>", address)
        try:
            path = reverse(name, kwargs={key: newest[key] for key in keys})
        except (NoReverseMatch, KeyError):
            continue
        found[name] = path
        if not keys:
            found[f"{name} ?after"] = f"{path}?after=100"
    if "script_tool" in found:
        found["script_tool"] += f"?code={Tool.objects.latest('pk').code}"
    return found
