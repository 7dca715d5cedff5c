"""What was said in an act, as JSON can hold it."""

import datetime as dt

from django.db import models


def json_body(**values) -> dict:
    """Write rows by their names, times as ISO text, measurements as they were typed."""
    return {name: _plain(value) for name, value in values.items()}


def _plain(value):
    if isinstance(value, models.Model):
        return str(value)
    if isinstance(value, dt.date | dt.datetime):
        return value.isoformat()
    if isinstance(value, list | tuple):
        return [_plain(item) for item in value]
    if isinstance(value, dict):
        return {str(key): _plain(member) for key, member in value.items()}
    return getattr(value, "text", value)
