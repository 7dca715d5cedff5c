"""Run rules: what a chart shows that chance rarely does, named by who published it.

western_electric: Western Electric, Statistical Quality Control Handbook (1956); the
same in NIST/SEMATECH e-Handbook 6.3.2. nelson: L. S. Nelson, Journal of Quality
Technology 16(4), 1984, 237-239. A point on a limit or on the center is not beyond it.
A rule speaks at the point that completes its pattern, and again while that goes on.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from shop.numeric.finite import finite

Test = Callable[[Sequence[float]], bool]


@dataclass(frozen=True)
class RunRule:
    """A rule: its name, how many points it looks at, and its test of the last of them
    (as many as there are, in standard deviations from the center). What each says is
    in qa/wording/measuring.py."""

    name: str
    span: int
    test: Test


@dataclass(frozen=True)
class Signal:
    """A rule that spoke at a point; points count from 1."""

    at: int
    rule: str


def _some_beyond(count: int, limit: float) -> Test:
    """So many of the points beyond the limit on the side of the last, itself one."""

    def test(z: Sequence[float]) -> bool:
        return any(
            side * z[-1] > limit and sum(side * value > limit for value in z) >= count
            for side in (1, -1)
        )

    return test


def _all(span: int, test: Test) -> Test:
    return lambda z: len(z) == span and test(z)


def _one_side(z: Sequence[float]) -> bool:
    return all(value > 0 for value in z) or all(value < 0 for value in z)


def _steps(z: Sequence[float]) -> list[float]:
    return [after - before for before, after in zip(z, z[1:], strict=False)]


def _alternating(z: Sequence[float]) -> bool:
    steps = _steps(z)
    return all(a * b < 0 for a, b in zip(steps, steps[1:], strict=False))


def _rule(name: str, span: int, test: Test, all_of_them=False) -> RunRule:
    return RunRule(name, span, _all(span, test) if all_of_them else test)


_ONE = (1, _some_beyond(1, 3))
_TWO = (3, _some_beyond(2, 2))
_FOUR = (5, _some_beyond(4, 1))
RULES = {
    "western_electric": (
        _rule("western_electric_1", *_ONE),
        _rule("western_electric_2", *_TWO),
        _rule("western_electric_3", *_FOUR),
        _rule("western_electric_4", 8, _one_side, True),
    ),
    "nelson": (
        _rule("nelson_1", *_ONE),
        _rule("nelson_2", 9, _one_side, True),
        _rule("nelson_3", 6, lambda z: _one_side(_steps(z)), True),
        _rule("nelson_4", 14, _alternating, True),
        _rule("nelson_5", *_TWO),
        _rule("nelson_6", *_FOUR),
        _rule("nelson_7", 15, lambda z: all(abs(value) < 1 for value in z), True),
        _rule("nelson_8", 8, lambda z: all(abs(value) > 1 for value in z), True),
    ),
}


def signals(z: Sequence[float], source: str) -> list[Signal]:
    """Where the rules of a source speak. z: points in order, in standard deviations
    from the center. NotANumber; KeyError of a source that is none of RULES."""
    finite(z=z)
    return [
        Signal(end, rule.name)
        for end in range(1, len(z) + 1)
        for rule in RULES[source]
        if rule.test(z[max(0, end - rule.span) : end])
    ]
