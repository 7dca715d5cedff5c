"""The description of the API: for programs (OpenAPI), and as a page for people."""

import json
from dataclasses import dataclass
from functools import cache

from django.contrib.auth.decorators import login_not_required
from django.http import JsonResponse
from django.shortcuts import render
from django.views.decorators.cache import never_cache
from django.views.decorators.csrf import csrf_exempt
from django.views.decorators.http import require_safe

from qa.views.api import error
from qa.views.scripts import recording
from qa.views.scripts.access import api
from shop import roles
from shop.actions import devices
from shop.middleware import must_change
from shop.models import Opens

ROOT = "/api/1/"
# One router, so that an address takes both GET and PUT.
api.add_router("", recording.router)


@cache
def description() -> dict:
    schema = {**api.get_openapi_schema(path_prefix=ROOT), "servers": []}
    # As it is sent: codes of answers are texts.
    return json.loads(json.dumps(schema))


@require_safe
@login_not_required
@never_cache
def openapi(request):
    """To whoever is signed in, and to whatever has a token that opens the API."""
    looks = roles.may(request.user, "look") and not must_change(request.user)
    if not _has_token(request) and not looks:
        return error(401, "token", "Sign in, or send the token of a device.")
    return JsonResponse(description())


@login_not_required
@never_cache
@csrf_exempt
def unknown(request, rest=""):
    """An address that the API does not have; said in its own form."""
    if not _has_token(request):
        return error(401, "token", "No token that opens this came with the request.")
    return error(404, "unknown", "The server does not know this.")


def _has_token(request) -> bool:
    scheme, _, token = request.headers.get("Authorization", "").partition(" ")
    known = scheme.lower() == "bearer" and devices.device_of(
        token, Opens.READS, Opens.WRITES
    )
    return bool(known)


@dataclass(frozen=True)
class Field:
    """One value that an address takes or answers: where, what, and whether it must."""

    name: str
    what: str
    needed: bool
    where: str = ""


@dataclass(frozen=True)
class Address:
    method: str
    path: str
    words: str
    takes: list[Field]
    answers: list[Field]
    many: bool


@require_safe
def api_page(request):
    roles.require(request.user, "look")
    schema = description()
    addresses = [
        _address(schema, path, method, operation)
        for path, methods in schema["paths"].items()
        for method, operation in methods.items()
    ]
    context = {
        "reading": [address for address in addresses if address.method == "GET"],
        "recording": [address for address in addresses if address.method != "GET"],
        "words": schema["info"]["description"],
        "root": request.build_absolute_uri(ROOT),
    }
    return render(request, "qa/about_api/api.html", context)


def _address(schema_of_api: dict, path: str, method: str, operation: dict) -> Address:
    takes = [
        Field(
            parameter["name"],
            _what(schema_of_api, parameter["schema"]),
            parameter["required"],
            parameter["in"],
        )
        for parameter in operation.get("parameters", ())
    ]
    if body := operation.get("requestBody"):
        takes += _fields(
            schema_of_api, body["content"]["application/json"]["schema"], "body"
        )
    answer = operation["responses"]["200"]["content"]["application/json"]["schema"]
    answer, many = _each(schema_of_api, answer)
    return Address(
        method.upper(),
        path,
        operation["summary"],
        takes,
        _fields(schema_of_api, answer),
        many,
    )


def _each(schema_of_api: dict, schema: dict) -> tuple[dict, bool]:
    """What is answered once, or the many of a list or a page of a list."""
    schema = _resolved(schema_of_api, schema)
    if schema.get("type") == "array":
        return _resolved(schema_of_api, schema["items"]), True
    items = schema.get("properties", {}).get("items", {})
    if items.get("type") == "array":
        return _resolved(schema_of_api, items["items"]), True
    return schema, False


def _resolved(schema_of_api: dict, schema: dict) -> dict:
    while "$ref" in schema:
        name = schema["$ref"].rpartition("/")[2]
        schema = schema_of_api["components"]["schemas"][name]
    return schema


def _fields(schema_of_api: dict, schema: dict, where: str = "") -> list[Field]:
    schema = _resolved(schema_of_api, schema)
    needed = schema.get("required", ())
    return [
        Field(name, _what(schema_of_api, described), name in needed, where)
        for name, described in schema.get("properties", {}).items()
    ]


def _what(schema_of_api: dict, schema: dict) -> str:
    """A kind of value in few words."""
    if "anyOf" in schema:
        kinds = [kind for kind in schema["anyOf"] if kind.get("type") != "null"]
        words = " or ".join(_what(schema_of_api, kind) for kind in kinds)
        return words if len(kinds) == len(schema["anyOf"]) else f"{words}, or null"
    schema = _resolved(schema_of_api, schema)
    if "enum" in schema:
        return ", ".join(str(value) or "empty" for value in schema["enum"])
    if "const" in schema:
        return str(schema["const"])
    if schema.get("type") == "array":
        return f"list of: {_what(schema_of_api, schema['items'])}"
    if schema.get("type") == "object":
        names = ", ".join(schema.get("properties", {}))
        return f"{{{names}}}" if names else "object"
    if "pattern" in schema:
        return "decimal number, as text"
    return FORMATS.get(schema.get("format"), TYPES.get(schema.get("type"), "value"))


FORMATS = {"uuid": "id (UUID)", "date": "date, 2026-11-29"}
TYPES = {"string": "text", "integer": "whole number", "boolean": "true or false"}
