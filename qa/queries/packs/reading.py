"""An issued pack to be read on a tablet: its record as it was kept, line by line."""

import json
from dataclasses import dataclass, field

from qa.models import IssuedPack, PackRemark
from qa.rules import kept_packs
from qa.rules.pack_lines import facts_of, keyed, rows_of
from qa.wording import packs as words

# As much of the name of a line as a remark keeps.
LINE = PackRemark._meta.get_field("line").max_length
# Lines that belong to no joint.
REST = ""
WHOLE = "the pack whole"


@dataclass(frozen=True)
class ReadLine:
    """One line as the pages tell it, and what was remarked on it. What is no
    characteristic has its `table`, and its `facts` in words."""

    name: str
    joint: str = ""
    station: str = ""
    requirement: str = ""
    result: str = ""
    state: str = ""
    verdict: str = ""
    nonconformance: str = ""
    comment: str = ""
    remarks: tuple = ()
    table: str = ""
    facts: tuple[str, ...] = ()

    @property
    def for_item(self) -> dict[str, str]:
        """What an item keeps of it."""
        result = " ".join(filter(None, (self.result, self.verdict)))
        result = result or "; ".join(self.facts)
        return {
            "name": self.name,
            "joint": self.joint,
            "station": self.station,
            "requirement": self.requirement,
            "told": result,
        }


@dataclass(frozen=True)
class ReadPack:
    """One part of a pack: a joint of it, or what belongs to none. `parts` names all."""

    claims: list[str]
    parts: list[tuple[str, str]]
    part: str
    facts: list[tuple[str, str]] = field(default_factory=list)
    lines: list[ReadLine] = field(default_factory=list)
    # On the pack whole.
    remarked: tuple = ()

    def line(self, name: str) -> ReadLine | None:
        """The line of a name; without one the pack whole."""
        if not name:
            return ReadLine(WHOLE, remarks=self.remarked)
        return next((line for line in self.lines if line.name == name), None)


def read_pack(pack: IssuedPack, part: str | None = None) -> ReadPack:
    """A part of the kept record; the first where none is named, or one not there.

    Raises Refused where what is kept is not what was issued."""
    record = json.loads(kept_packs.record_of(pack))
    joints = record["sections"]["joints"]
    parts = [(joint["joint"], f"{joint['joint']} {joint['name']}") for joint in joints]
    parts.append((REST, "everything else"))
    names = [name for name, _words in parts]
    part = part if part in names else names[0]
    remarks: dict[str, list[PackRemark]] = {}
    for remark in pack.remarks.select_related("item__standing", "entry__by"):
        remarks.setdefault(remark.line, []).append(remark)
    lines = _lines(record, part, names, remarks)
    whole_record = _told(joints, part)
    whole = tuple(remarks.get(WHOLE, ()))
    return ReadPack(record["claims"], parts, part, whole_record, lines, whole)


def _told(joints: list[dict], part: str) -> list[tuple[str, str]]:
    """What a joint is told to be, above its lines."""
    for joint in joints:
        if joint["joint"] == part:
            return [
                ("As recorded", joint["outcome"]),
                ("Inspection", joint["standing"]),
                ("Fitted part", joint["part"]),
                ("Surround", joint["surround"]),
                ("Source of the limits", joint["source_of_limits"]),
                ("Acceptance condition", joint["acceptance_condition"]),
                ("Lacks", "; ".join(joint["lacks"]) or "nothing beside its lines"),
            ]
    return []


def _lines(record: dict, part: str, names: list[str], remarks) -> list[ReadLine]:
    """Characteristics of a joint; or all other lines, with those of no joint."""
    lines, judged = [], set()
    for characteristic in record["characteristics"]:
        joint, _dot, rest = characteristic["number"].rpartition(".")
        own = joint if joint in names and joint else REST
        judged.add(characteristic["number"])
        if own == part:
            lines.append(_judged(characteristic, own, remarks))
    return lines + (_others(record, remarks) if part == REST else [])


def _others(record: dict, remarks) -> list[ReadLine]:
    """Every row of every table but the characteristics, of two tables that call one
    alike both; then what was remarked on lines that are called otherwise now: those of
    pack/1 with what they told.
    """
    tables = rows_of(record)
    judged = tables.pop("characteristics")
    del tables[""]
    # Names alone: each stands among the characteristics.
    tables.pop("other_characteristics", None)
    # A characteristic takes its name first.
    rows = keyed(
        [(name, ("characteristics", row)) for name, row in judged.items()]
        + [
            (name, (table, row))
            for table, named in tables.items()
            for name, row in named.items()
        ]
    )
    rows = {name: row for name, row in rows.items() if name not in judged}
    lines = [
        ReadLine(
            name,
            remarks=tuple(remarks.get(name[:LINE], ())),
            table=words.table_words(table)[0],
            facts=tuple(facts_of(table, row)),
        )
        for name, (table, row) in rows.items()
    ]
    numbers = [line["number"] for line in record["characteristics"]]
    known = {name[:LINE] for name in (*rows, *numbers, WHOLE)}
    earlier = {name[:LINE]: text for name, text in record.get("lines", {}).items()}
    return lines + [
        ReadLine(
            name,
            remarks=tuple(on_line),
            table=words.EARLIER_FORM,
            facts=tuple(filter(None, [earlier.get(name, "")])),
        )
        for name, on_line in remarks.items()
        if name not in known
    ]


def _judged(line: dict, joint: str, remarks) -> ReadLine:
    return ReadLine(
        name=line["number"],
        joint=joint,
        station=line["location"] if joint else "",
        requirement=f"{line['designator']} {line['requirement']}",
        result=line["result"],
        state=line["state"],
        verdict=line["verdict"],
        nonconformance=line["nonconformance"],
        comment=line["comment"],
        remarks=tuple(remarks.get(line["number"][:LINE], ())),
    )
