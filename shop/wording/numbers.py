"""Numbers as a person reads them."""

import re

_HYPHEN = re.compile(r"(?<![\w.-])-(?=\.?[0-9])")


def true_minus(text: str) -> str:
    """A text with a minus before each number below 0, where a hyphen stood; hyphens of
    names and dates stay."""
    return _HYPHEN.sub("\N{MINUS SIGN}", text)
