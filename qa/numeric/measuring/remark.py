"""What is said beside a number, or instead of one."""

from typing import NamedTuple


class Remark(NamedTuple):
    """A code and its values. The words are in qa/wording/measuring.py."""

    code: str
    values: dict = {}
