"""What an export says of its tables: each column's type, unit and meaning.

Beside it: which columns are secret. Without `--with-secrets` these stay at home.
"""

import re

from django.db import models
from django.utils.translation import override

from .table_copies import tables

# The ending of a column's name, or the name itself, says the unit of its numbers.
BY_ENDING = {
    "nm": "nm",
    "mg": "mg",
    "mm2": "mm2",
    "pa": "Pa",
    "s": "s",
    "minutes": "min",
    "mc": "0.001 degC",
    "mdeg": "0.001 deg",
    "bp": "0.01 %",
    "permille": "1e-3",
    "ppm": "1e-6",
    "e3": "1e-3",
    "e6": "1e-6",
    "e9": "1e-9",
}
MILLIDEGREES = ("temperature", "dwell_low", "dwell_high", "peak_most")
BY_NAME = {
    **dict.fromkeys(MILLIDEGREES, "0.001 degC"),
    "ramp_most": "0.001 degC/min",
    "humidity": "0.01 %",
    "density": "kg/m3",
    "areal_mass": "g/m2",
    "core_uptake": "g/m2",
    "out_time_limit": "h",
    "minutes_to_release": "min",
    "minutes_between": "min",
    "minutes_before_layup": "min",
    "orientation": "deg",
    "cost": "0.01 of the currency",
    "ratio": "g/kg",
    "width": "px",
    "height": "px",
    "size": "bytes",
    "probability": "1",
    "part_expansion_e9": "1e-9/K",
    "surround_expansion_e9": "1e-9/K",
    "turn_e3": "0.001 turn",
    **dict.fromkeys(("days", "weeks", "months"), "as named"),
    "hour": "h",
    "last_step": "30 s",
}
# Exact numbers of a kind of quality: whole nm, mg or pieces, or a fraction of areas.
BY_TABLE = {
    "qa_characteristicrevision": dict.fromkeys(("low", "high"), "as the quality says"),
    "qa_characteristicresult": dict.fromkeys(
        ("exact", "u", "low", "high", "guard", "deviation"), "as the quality says"
    ),
    "shop_temporaryitem": {"size": ""},
}
MEANS = {
    "entry_id": "the act of the ledger that wrote this row (shop_entry.act)",
    "body": "canonical JSON, as it was written",
    "digest": "sha256 of what this row says, in hex",
    "fingerprint": "sha256 of what the sender said: the same act has the same",
    "sha256": "sha256 of the file, in hex: its name under files/",
    "content_digest": "sha256 of the record: its name under files/",
    "signature_sha256": "sha256 of the detached signature: its name under files/",
    "mark": "sha256 of the picture: its name under files/",
    "read_to": "the newest entry (shop_entry.id) that was read",
    "uuid": "the same in every copy of these records",
    "act": "the id that the sender gave the act",
    "claimed": "sent in that name without a PIN",
    "position": "the place in the chain, from 1",
    "value": "as typed",
    "unit": "the unit of what was typed",
    "typed": "as typed",
}
# Who may come in, and tries to: of no use elsewhere, and nobody else's to know.
ACCESS_TABLES = ("shop_proof", "shop_pintry", "shop_signintry")
# Rows that are nothing without their secret: they end where it was left out.
USELESS_WITHOUT = ("shop_recoverycode", "shop_secondfactor")
SECRET = re.compile(r"(^|_)(password|secret|token|pin|otp)(_|$)")
WITHHELD = "!withheld"
SECRETLY = {"secret": True, "means": "left out, if not asked for by --with-secrets"}


def secret_fields(model) -> list[models.Field]:
    """Return the columns that would let somebody in, or help to."""
    bound = getattr(model, "bound_by_digest", ())
    return [
        field
        for field in model._meta.concrete_fields
        if field.name in bound
        or (isinstance(field, models.CharField) and SECRET.search(field.name))
    ]


def withheld(field: models.Field, key) -> str:
    """What stands for a secret: nothing hashes to it, and no two rows share it."""
    return f"{WITHHELD}:{key}"[: field.max_length]


def exported_tables(*, secrets: bool) -> list[type[models.Model]]:
    """Return the models that an export holds."""
    return [
        model
        for model in tables()
        if secrets or model._meta.db_table not in ACCESS_TABLES
    ]


def schema(*, secrets: bool) -> dict:
    """Return the description of all tables, in our own words whatever the language."""
    with override(None):
        return {
            model._meta.db_table: _table(model)
            for model in exported_tables(secrets=secrets)
        }


def _table(model) -> dict:
    meta = model._meta
    hidden = {field.name for field in secret_fields(model)}
    meaning = "" if _made_by_django(model) else " ".join((model.__doc__ or "").split())
    return {
        "means": meaning or str(meta.verbose_name),
        "file": f"tables/{meta.db_table}.jsonl",
        "columns": [
            {**_column(field), **(SECRETLY if field.name in hidden else {})}
            for field in meta.concrete_fields
        ],
    }


def _made_by_django(model) -> bool:
    return (model.__doc__ or "").startswith(f"{model.__name__}(")


def _column(field: models.Field) -> dict:
    column = {
        "name": field.attname,
        "type": type_of(field),
        "unit": unit_of(field),
        "means": _meaning(field),
        "may_be_null": field.null,
    }
    if field.is_relation:
        target = field.target_field
        column["key_of"] = f"{target.model._meta.db_table}.{target.attname}"
    if field.choices:
        column["one_of"] = {str(value): str(word) for value, word in field.flatchoices}
    return column


def type_of(field: models.Field) -> str:
    """Return what a value is in JSON, and how a text is to be read."""
    while field.is_relation:
        field = field.target_field
    for kind, word in (
        (models.BooleanField, "boolean"),
        (models.IntegerField, "integer"),
        (models.FloatField, "number"),
        (models.JSONField, "JSON"),
        (models.UUIDField, "text: UUID"),
        (models.DateTimeField, "text: UTC, ISO 8601"),
        (models.DateField, "text: date, ISO 8601"),
        (models.DecimalField, "text: decimal number"),
        (models.BinaryField, "text: hexadecimal"),
    ):
        if isinstance(field, kind):
            return word
    return "text"


def unit_of(field: models.Field) -> str:
    """Return the unit of a number; "" where it is none, a key, a number or a count."""
    if field.is_relation or not isinstance(
        field, models.IntegerField | models.FloatField
    ):
        return ""
    name = field.name
    here = BY_TABLE.get(field.model._meta.db_table, {})
    usual = BY_NAME.get(name, BY_ENDING.get(name.rpartition("_")[2], ""))
    return here.get(name, usual)


def _meaning(field: models.Field) -> str:
    parts = [MEANS.get(field.attname) or str(field.verbose_name), str(field.help_text)]
    return "; ".join(part for part in parts if part)
