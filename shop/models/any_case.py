"""Texts compared in any case, alike on both databases: __says, __begins, __named.

SQLite knows the two cases of ASCII letters only, PostgreSQL those that its locale
knows, and an index of words all. So that the same is found whichever is asked, the
database compares ASCII letters and is told the cases of every other one.
"""

import re
from collections import defaultdict
from functools import cache

from django.core.exceptions import EmptyResultSet
from django.db.models import CharField, Lookup, TextField

# Bytes of a pattern that SQLite takes, and no text here has so many letters.
LONGEST = 50_000
OHM, ANGSTROM = 0x2126, 0x212B
# Latin, Greek and Cyrillic letters. Of others SQLite's index of words knows fewer cases
# than Python does: there each is its own.
LETTERS = (*range(0x80, 0x528), *range(0x1E00, 0x2000), OHM, ANGSTROM)


def cases_of(letter: str) -> str:
    """How a letter that is not ASCII may be written: each in one code point, so that ß
    is no SS; no ASCII letter, though a sign of old prints may count as one."""
    cases = _cases().get(_lowest(letter), "")
    return cases if letter in cases else letter


@cache
def _cases() -> dict[str, str]:
    """By their lowest all that are of one letter, of all that have cases."""
    cases = defaultdict(str)
    for letter in map(chr, LETTERS):
        cases[_lowest(letter)] += letter
    return {low: letters for low, letters in cases.items() if len(letters) > 1}


def _lowest(letter: str) -> str:
    for low in (letter.casefold(), letter.lower()):
        if len(low) == 1 and not low.isascii():
            return low
    return letter


class InAnyCase(Lookup):
    """before, after: the text goes on there."""

    before = after = True
    prepare_rhs = False

    def as_sql(self, compiler, connection):
        lhs, params = self.process_lhs(compiler, connection)
        on_postgresql = connection.vendor == "postgresql"
        asked = _asked_postgresql if on_postgresql else _asked_sqlite
        conditions, patterns = [], []
        for operator, pattern in asked(str(self.rhs), self.before, self.after):
            if len(pattern.encode()) > LONGEST:
                raise EmptyResultSet
            text = f'UPPER({lhs}::text COLLATE "C")' if on_postgresql else lhs
            conditions.append(f"{text} {operator}")
            patterns += [*params, pattern]
        return f"({' AND '.join(conditions)})", patterns


def _like(word: str, before: bool, after: bool, other: str) -> str:
    """other: what stands for a letter that is not ASCII."""
    letters = (re.sub(r"([%_\\])", r"\\\1", c) if c.isascii() else other for c in word)
    return f"{'%' * before}{''.join(letters)}{'%' * after}"


def _asked_sqlite(word: str, before: bool, after: bool):
    yield "LIKE %s ESCAPE '\\'", _like(word, before, after, other="_")
    if not word.isascii():  # ten times as slow: of what is left
        pattern = "".join(map(_glob, word))
        yield "GLOB %s", f"{'*' * before}{pattern}{'*' * after}"


def _glob(letter: str) -> str:
    if letter.isascii():
        cases = {letter.lower(), letter.upper()} if letter not in "]^" else {}
    else:
        cases = cases_of(letter)
    return f"[{''.join(sorted(cases))}]" if cases else letter


def _asked_postgresql(word: str, before: bool, after: bool):
    upper = "".join(c.upper() if c.isascii() else c for c in word)
    if upper.isascii():
        yield "LIKE %s", _like(upper, before, after, other="_")
    else:
        letters = (re.escape(c) if c.isascii() else f"[{cases_of(c)}]" for c in upper)
        # Nothing but this word: no sign of it means something to the pattern.
        ends = "" if before else "^", "" if after else "$"
        yield "~ %s", "".join(letters).join(ends)


class Says(InAnyCase):
    lookup_name = "says"


class Begins(InAnyCase):
    lookup_name = "begins"
    before = False


class Named(InAnyCase):
    lookup_name = "named"
    before = after = False


def compare_in_any_case() -> None:
    for lookup in (Says, Begins, Named):
        for field in (CharField, TextField):
            field.register_lookup(lookup)
