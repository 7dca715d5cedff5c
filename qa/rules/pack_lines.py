"""Every fact that the record of a pack tells, by table and row: to be read line by
line, and held against those of an earlier issue.

It knows no section by name: what stands in the record is a fact, and is compared.
"""

import textwrap
from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import zip_longest
from operator import attrgetter
from typing import Any

from qa.wording import packs as words

# Of the record what is no fact of what it tells: `lines` had pack/1.
NO_FACTS = ("form", "lines", "sections", "characteristics")
NOT_THERE, THERE, NONE = "not there", "there", "–"
ONLY_SPACES, SPACES_DIFFER = "only spaces", " (only spaces differ)"
# So many characters stand together on one line of what changed; more begin another.
MOST = 400
LONGEST = 1200


@dataclass(frozen=True)
class Change:
    """One line of what changed: in which table, of which row, how it was, how it is."""

    table: str
    name: str
    before: str
    now: str


@dataclass(frozen=True)
class Compared:
    """What one record tells otherwise than another. `untold`: what only one of the two
    forms carries, so that it was not compared."""

    changes: tuple[Change, ...]
    untold: tuple[str, ...] = ()

    @property
    def count(self) -> int:
        """How many rows differ."""
        return len({(change.table, change.name) for change in self.changes})


def rows_of(record: dict) -> dict[str, dict[str, dict]]:
    """{table: {what the row is called: its facts}} of all that a record tells."""
    return {table: keyed(rows) for table, rows in _tables(record).items()}


def _tables(record: dict) -> dict[str, list[tuple[str, dict]]]:
    """The same in the order of the record, where several rows may be called alike."""
    once = {fact: value for fact, value in record.items() if fact not in NO_FACTS}
    tables = {"": [once]}
    for section, data in record["sections"].items():
        inner = data if isinstance(data, dict) else {"": data}
        tables |= {
            f"{section}.{name}".rstrip("."): rows for name, rows in inner.items()
        }
    tables["characteristics"] = record["characteristics"]
    return {table: _named(table, rows) for table, rows in tables.items()}


def _named(table: str, rows) -> list[tuple[str, dict]]:
    facts = [_facts(row) for row in (rows if isinstance(rows, list) else [rows])]
    return [(words.row_words(table, row), row) for row in facts]


def _facts(row) -> dict:
    if isinstance(row, dict):
        return row
    values = row if isinstance(row, list) else [row]
    return {str(number): value for number, value in enumerate(values)}


def keyed(pairs: Iterable[tuple[str, Any]]) -> dict[str, Any]:
    """Rows by name, every one of them: a name that was there is "name (2)"."""
    named: dict[str, Any] = {}
    counted: Counter[str] = Counter()
    for name, row in pairs:
        key = name
        while key in named:
            counted[name] += 1
            key = f"{name} ({counted[name] + 1})"
        named[key] = row
    return named


def facts_of(table: str, row: dict) -> list[str]:
    """The facts of a row in words, but for what its name says and what is not there."""
    return [
        _labeled(fact, element)
        for fact, value in row.items()
        if fact not in words.named_by(table) and not _said_by_word(fact, row)
        for element in _elements(value)
    ]


def compare(before: dict, now: dict) -> Compared:
    """Every fact of two records, table by table and row by row. Where they are of
    different forms, only what both forms carry."""
    was, tells = _tables(before), _tables(now)
    same_form = before.get("form") == now.get("form")
    changes, untold = [], []
    for table in dict.fromkeys([*tells, *was]):
        head = words.table_words(table)[0]
        old, new = was.get(table), tells.get(table)
        left: set[str] = set()
        if not same_form:
            if old is None or new is None:
                untold.append(head)
                continue
            left = _only_in_one(old, new)
            untold += [f"{head}: {words.fact_words(fact)}" for fact in sorted(left)]
        changes += _changes_of(table, old or [], new or [], left)
    return Compared(tuple(changes), tuple(untold))


def _only_in_one(old, new) -> set[str]:
    """Facts that rows of one form have and those of the other do not."""
    if not (old and new):
        return set()
    had, have = ({x for _name, row in rows for x in row} for rows in (old, new))
    return had ^ have


def _changes_of(table, old, new, left: set[str]) -> Iterator[Change]:
    head = words.table_words(table)[0]
    pairs = sorted(_paired(old, new, left), key=lambda pair: natural(pair[0]))
    for name, was, tells in pairs:
        if was is None or tells is None:
            facts = facts_of(table, was or tells)
            pairs = [("", text) if was is None else (text, "") for text in facts]
            pairs = pairs or [("", "")]
            gone = (NOT_THERE, THERE) if was is None else (THERE, NOT_THERE)
            for number, (before, now) in enumerate(_together(pairs)):
                first = gone if not number else (NONE, NONE)
                yield Change(head, name, before or first[0], now or first[1])
            continue
        pairs = _differing(was, tells, left)
        for before, now in _together(pairs):
            yield Change(head, name, before or NONE, now or NONE)


def _paired(old, new, left) -> Iterator[tuple[str, dict | None, dict | None]]:
    """(name, as it was, as it is) of each row that differs, None where it is not there.

    Names that differ by blanks alone are one. Of several rows of a name those that tell
    the same belong together, then those of just this name, then the rest in order."""
    old, new = _by_name(old, left), _by_name(new, left)
    for name in dict.fromkeys([*old, *new]):
        was, tells = old.get(name, []), new.get(name, [])
        # On the side that has more rows each has a name of its own.
        side = 0 if len(was) > len(tells) else 1
        for pair in _pairs_of(was, tells):
            named = pair[side] or pair[1 - side]
            before, after = (row and row.facts for row in pair)
            if before != after:
                yield named.key, before, after


@dataclass(frozen=True)
class Row:
    """A row, what it is called, the name that it has to itself, and of its facts those
    that are compared."""

    key: str
    name: str
    facts: dict
    compared: dict


def _by_name(rows, left: set[str]) -> dict[str, list[Row]]:
    by_name: dict[str, list[Row]] = {}
    for key, (name, facts) in zip(keyed(rows), rows, strict=True):
        compared = {fact: facts[fact] for fact in facts if fact not in left}
        row = Row(key, name, facts, compared)
        by_name.setdefault(" ".join(name.split()), []).append(row)
    return by_name


def _pairs_of(was: list[Row], tells: list[Row]) -> list[tuple[Row | None, Row | None]]:
    was, tells, pairs = [*was], [*tells], []
    for alike in (attrgetter("compared"), attrgetter("name")):
        for row in tuple(was):
            same = next((x for x in tells if alike(x) == alike(row)), None)
            if same:
                was.remove(row)
                tells.remove(same)
                pairs.append((row, same))
    return pairs + list(zip_longest(was, tells))


def _differing(was: dict, tells: dict, left: set[str]) -> list[tuple[str, str]]:
    """(as it was, as it is) of each fact that differs."""
    differ = {
        fact
        for fact in {*was, *tells} - left
        if was.get(fact) != tells.get(fact) or (fact in was) != (fact in tells)
    }
    pairs_apart = []
    for fact in [x for x in dict.fromkeys([*was, *tells]) if x in differ]:
        if not differ.intersection(words.SIGN_OF.get(fact, ())):
            pairs = _pairs(fact, _elements(was.get(fact)), _elements(tells.get(fact)))
            if all(before == now for before, now in pairs):
                kinds = [_kind(fact, row) for row in (was, tells)]
                pairs = [(f"{x} ({kinds[0]})", f"{y} ({kinds[1]})") for x, y in pairs]
            pairs_apart += pairs
    return pairs_apart


def _kind(fact: str, row: dict) -> str:
    """What tells a value from another that reads the same: null from an empty text."""
    return words.kind_words(row[fact]) if fact in row else words.NOT_TOLD


def _pairs(fact: str, old: list[str], new: list[str]) -> list[tuple[str, str]]:
    """What is told no more beside what is told now, without what stays in a list."""
    gone, come = Counter(old) - Counter(new), Counter(new) - Counter(old)
    if not (gone or come):  # in another order
        gone, come = Counter(old), Counter(new)
    before = [_labeled(fact, element) for element in gone.elements()]
    now = [_labeled(fact, element) for element in come.elements()]
    before = before or ([] if old else [_labeled(fact, NONE)])
    now = now or ([] if new else [_labeled(fact, NONE)])
    return [_told_apart(*pair) for pair in zip_longest(before, now, fillvalue="")]


def _told_apart(before: str, now: str) -> tuple[str, str]:
    """What differs by blanks alone looks the same on both sides: the newer says so."""
    same = before != now and before.split() == now.split()
    return before, now + SPACES_DIFFER * same


def _together(pairs: list[tuple[str, str]]) -> Iterator[tuple[str, str]]:
    """Short ones on one line, a long one on lines of its own: none is cut."""
    line = ("", "")
    for pair in pairs:
        for more in _cut(*pair):
            joined = tuple(
                "; ".join(filter(None, side)) for side in zip(line, more, strict=True)
            )
            if any(line) and max(map(len, joined)) > MOST:
                yield line
                joined = more
            line = joined
    if pairs:
        yield line


def _cut(old: str, new: str) -> list[tuple[str, str]]:
    return list(zip_longest(_lines(old), _lines(new), fillvalue="")) or [("", "")]


def _lines(text: str) -> list[str]:
    return textwrap.wrap(text, LONGEST, break_on_hyphens=False)


def _elements(value) -> list[str]:
    """What is told, each element of a list by itself. A text is one, whatever signs
    somebody wrote in it."""
    if isinstance(value, list):
        return [_text(element) for element in value]
    text = _text(value)
    return [text] if text else []


def _text(value) -> str:
    if isinstance(value, list):
        return ", ".join(filter(None, map(_text, value)))
    return "" if value is None else str(value)


def _labeled(fact: str, text: str) -> str:
    label = words.fact_words(fact)
    text = ONLY_SPACES if text.isspace() else text
    return f"{label}: {text}" if label else text


def _said_by_word(fact: str, row: dict) -> bool:
    return any(row.get(word) for word in words.SIGN_OF.get(fact, ()))


def natural(name: str) -> list:
    """A name so that J-2 comes before J-10."""
    parts, digits = [], ""
    for char in f"{name}\0":
        if char.isascii() and char.isdigit():
            digits += char
            continue
        if digits:
            parts.append((0, int(digits), ""))
            digits = ""
        parts.append((1, 0, char))
    return parts
