"""Published numbers in files of their own: each file says its source.

`load("capability")` reads decimals as they are printed, not as floats.
"""

import json
from decimal import Decimal
from pathlib import Path


def load(name: str) -> dict:
    """A file of this folder; its numbers with a point are Decimals."""
    text = (Path(__file__).parent / f"{name}.json").read_text("utf-8")
    return json.loads(text, parse_float=Decimal)
