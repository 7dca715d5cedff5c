"""A move that was made, as acts keep it."""

from dataclasses import dataclass


@dataclass(frozen=True)
class Moved:
    """A move that was made, in words and amounts, and what it should change.

    changes: {fit-up key: {station: [gap nm, flushness nm]}}.
    """

    words: str
    amounts: list[dict]
    changes: dict[int, dict[str, list[int]]]
