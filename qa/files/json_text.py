"""JSON that somebody brings: read whole, every key of an object once."""

import json

from qa.files.columns import MAX_BYTES, Complaint, FileComplaints

LONGEST_SHOWN = 40


class Wrong(ValueError):
    """What is wrong, and with which key."""

    def __init__(self, key: str, text: str):
        self.key = key
        super().__init__(text)


def parse(data: bytes):
    """What stands in a file of JSON. Raises FileComplaints."""
    if len(data) > MAX_BYTES:
        raise FileComplaints([Complaint("the file is too large")])
    try:
        return json.loads(data.decode("utf-8-sig"), object_pairs_hook=_once_each)
    except UnicodeDecodeError as why:
        raise FileComplaints([Complaint("this is not UTF-8 text", 1)]) from why
    except json.JSONDecodeError as why:
        reason = f"this is not JSON: {why.msg} (column {why.colno})"
        raise FileComplaints([Complaint(reason, why.lineno)]) from why
    except Wrong as wrong:
        raise FileComplaints([Complaint(str(wrong), None, wrong.key)]) from wrong
    except ValueError as why:  # a number of thousands of digits
        raise FileComplaints([Complaint("a number is far too long", 1)]) from why
    except RecursionError as why:
        raise FileComplaints([Complaint("this is nested too deeply", 1)]) from why


def _once_each(pairs: list[tuple]) -> dict:
    """An object of the file; JSON itself would let the last of two equal keys win."""
    members = {}
    for key, value in pairs:
        if key in members:
            earlier = json.dumps(members[key])[:LONGEST_SHOWN]
            other = json.dumps(value)[:LONGEST_SHOWN]
            raise Wrong(key, f"is there twice in one object, as {earlier} and {other}")
        members[key] = value
    return members


def refuse_unknown(entry: dict, known: tuple[str, ...]) -> None:
    unknown = sorted(set(entry) - set(known))
    if unknown:
        shown = unknown[0][:LONGEST_SHOWN]
        raise Wrong(shown, f"is not known (known: {', '.join(known)})")


def name_of(entry: dict, key: str) -> str:
    """A name under a key. Raises Wrong."""
    name = entry.get(key)
    plain = isinstance(name, str) and name.strip() and name.isprintable()
    if not plain or len(name) > LONGEST_SHOWN:
        raise Wrong(key, f"must be up to {LONGEST_SHOWN} plain characters")
    return name.strip()
