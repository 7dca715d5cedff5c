"""Which facts the standards ask for, and where a pack carries each.

Seen, as quoted in shared/reference/trade.md, section 7: the fields of the three forms
of AS9102 (2015 forms), the four items of 14 CFR 43.9(a), the dispositions and who
decides of AS9100D 8.7. From memory, marked so there: the facts of AS9131 beside the
dispositions, and what AC 120-78B asks of an electronic signature. No standard was at
hand itself.
"""

import json
import re

from qa.models import Nonconformance
from shop.models import Part, Signature

SEEN, MEMORY = "seen as quoted", "from memory"


def every(found) -> bool:
    """Of nothing, nothing is told."""
    found = list(found)
    return bool(found) and all(found)


class Read:
    """A pack as its reader has it: words of its pages, and the data inside."""

    def __init__(self, order, pages: list[str], files: dict[str, bytes]):
        self.order, self.pages = order, pages
        self.told = " ".join(pages)
        self.record = json.loads(files["record.json"])
        self.sections = self.record["sections"]
        self.issue = json.loads(files["issue.json"])

    def says(self, *words) -> bool:
        """Whether it is printed, and is something."""
        return every(
            str(one).strip() and " ".join(str(one).split()) in self.told
            for one in words
        )

    def headed(self, *heads) -> bool:
        return every(
            re.search(rf"\b{re.escape(head)}(?!\w)", self.told) for head in heads
        )

    def each(self, section: str, *facts) -> bool:
        """Each line of a section has these facts, and some line does."""
        lines = self.sections[section]
        return every(line[fact] for line in lines for fact in facts)

    def some(self, section: str, *facts) -> bool:
        """Of each of these facts some line of a section prints it."""
        return every(
            any(self.says(line[fact]) for line in self.sections[section] if line[fact])
            for fact in facts
        )

    @property
    def parts(self) -> list[dict]:
        return self.sections["genealogy"]["parts"]


def parts_say(read: Read, fact: str) -> bool:
    return every(read.says(part[fact]) for part in read.parts)


def every_serial(read: Read) -> bool:
    serials = {part["serial_number"] for part in read.parts}
    of = {x.serial: x.design for x in Part.objects.select_related("design")}
    return every(read.says(of[one].number) for one in serials)


def failing_have_items(read: Read) -> bool:
    """AS9102 field 11: what fails has a nonconformance number, or says it has none."""
    failing = [x for x in read.record["characteristics"] if x["state"] in FAILS]
    return every(x["nonconformance"] for x in failing)


FAILS = ("above", "below", "does_not_conform")


def unique_numbers(read: Read) -> bool:
    numbers = [line["number"] for line in read.record["characteristics"]]
    return len(set(numbers)) == len(numbers) > 100 and read.says(*numbers[:200:9])


def every_item(read: Read) -> bool:
    numbers = [
        item.label
        for item in Nonconformance.objects.filter(airframe=read.order.airframe)
    ]
    return read.says(*numbers)


def stories(read: Read) -> list:
    return [step for item in read.sections["nonconformances"] for step in item["story"]]


def signatures(read: Read) -> list[dict]:
    return read.sections["signatures"]


def proven(read: Read) -> list[dict]:
    return [line for line in signatures(read) if "proven by" in line["meaning"]]


def signers(read: Read) -> bool:
    """Each is of one person, who proved it in that act: never of one that another
    named."""
    rows = Signature.objects.select_related("entry__by")
    by = {row.digest: set() for row in rows}
    for row in rows:
        by[row.digest].add(row.entry.by.name)
    return every(x["by"].split(",")[0] in by[x["digest"]] for x in proven(read))


def bound(read: Read) -> bool:
    """The digest on paper is that of the very text that was signed."""
    digests = {row.digest for row in Signature.objects.all()}
    return every(
        x["digest"] in digests and read.says(x["digest"][:16]) for x in proven(read)
    )


# (standard, how it is known, fact as the standard names it, where the pack carries it)
FACTS = [
    (
        "AS9102 form 1",
        SEEN,
        "1 part number",
        lambda r: r.headed("Part number") and parts_say(r, "part_number"),
    ),
    (
        "AS9102 form 1",
        SEEN,
        "2 part name",
        lambda r: r.headed("Part name") and parts_say(r, "part_name"),
    ),
    (
        "AS9102 form 1",
        SEEN,
        "3 serial number",
        lambda r: r.headed("Serial number") and every_serial(r),
    ),
    (
        "AS9102 form 1",
        SEEN,
        "4 report number",
        lambda r: every(r.order.label in page for page in r.pages),
    ),
    (
        "AS9102 form 1",
        SEEN,
        "5 part revision level",
        lambda r: parts_say(r, "part_revision"),
    ),
    (
        "AS9102 form 1",
        SEEN,
        "6, 7 drawing number and its revision",
        lambda r: (
            r.headed("Drawing number and revision")
            and r.each("joints", "joint", "revision", "source_of_limits")
        ),
    ),
    (
        "AS9102 form 1",
        SEEN,
        "8 additional changes",
        lambda r: (
            any(step[2].startswith("dispositioned") for step in stories(r))
            and r.headed("Concession")
        ),
    ),
    (
        "AS9102 form 1",
        SEEN,
        "9 manufacturing process reference",
        lambda r: (
            every(part["came_from"] for part in r.parts)
            and r.headed("laminate", "pull", "mold")
            and r.some("cures", "recipe")
        ),
    ),
    (
        "AS9102 form 1",
        SEEN,
        "10 organization name",
        lambda r: every("Two-seat glider workshop" in page for page in r.pages),
    ),
    (
        "AS9102 form 1",
        SEEN,
        "13 detail or assembly",
        lambda r: r.says(r.record["subject"]) and parts_say(r, "position"),
    ),
    (
        "AS9102 form 1",
        SEEN,
        "14 full or partial, against which issue",
        lambda r: r.issue["issue"] == 1 and r.says(r.record["subject"]),
    ),
    (
        "AS9102 form 1",
        SEEN,
        "15 to 18 index of the assembly",
        lambda r: (
            r.headed("Index")
            and every(x["serial_number"] in " ".join(r.pages[-2:]) for x in r.parts)
        ),
    ),
    (
        "AS9102 form 1",
        SEEN,
        "19, 20 complete or not, signature, date",
        lambda r: (
            every(claim in r.pages[0] for claim in r.record["claims"])
            and every(word in r.pages[0] for word in ("Signature", "Date"))
        ),
    ),
    (
        "AS9102 form 1",
        SEEN,
        "21, 22 reviewed by, date",
        lambda r: r.headed("Inspected", "Approved"),
    ),
    (
        "AS9102 form 1",
        SEEN,
        "23, 24 approval, date",
        lambda r: every(
            word in r.pages[0]
            for word in ("accepted", "accepted with remarks", "rejected")
        ),
    ),
    (
        "AS9102 form 2",
        SEEN,
        "5 material or process name",
        lambda r: (
            r.headed("Materials")
            and every(
                r.says(x["material"], x["name"])
                for x in r.sections["genealogy"]["materials"]
            )
        ),
    ),
    (
        "AS9102 form 2",
        SEEN,
        "6 specification",
        lambda r: r.each("cures", "recipe") and r.some("cures", "recipe"),
    ),
    (
        "AS9102 form 2",
        SEEN,
        "8 lot of the supplier",
        lambda r: (
            r.headed("Lot number")
            and every(r.says(x["lot"]) for x in r.sections["genealogy"]["materials"])
        ),
    ),
    (
        "AS9102 form 2",
        SEEN,
        "8 supplier",
        lambda r: (
            r.headed("Supplier")
            and every(
                r.says(x["supplier"]) for x in r.sections["genealogy"]["materials"]
            )
        ),
    ),
    (
        "AS9102 form 2",
        SEEN,
        "10 certificate of conformance number",
        lambda r: (
            r.headed("Certificate of conformance")
            and every(
                r.says(x["certificate_of_conformance"])
                for x in r.sections["genealogy"]["materials"]
            )
            and any(
                x["certificate_of_conformance"].startswith("CoC")
                for x in r.sections["genealogy"]["materials"]
            )
        ),
    ),
    (
        "AS9102 form 2",
        SEEN,
        "10 certificate number of the gauges",
        lambda r: (
            r.headed("Laboratory, certificate") and r.some("instruments", "certificate")
        ),
    ),
    (
        "AS9102 form 2",
        SEEN,
        "12 acceptance report number",
        lambda r: any(
            re.search(r"OF-\d{4}", x["standing"]) for x in r.sections["joints"]
        ),
    ),
    (
        "AS9102 form 2",
        SEEN,
        "13 comments",
        lambda r: any(x["comment"] for x in r.record["characteristics"]),
    ),
    (
        "AS9102 form 3",
        SEEN,
        "5 characteristic number, unique",
        lambda r: r.headed("Char. No.") and unique_numbers(r),
    ),
    (
        "AS9102 form 3",
        SEEN,
        "6 reference location",
        lambda r: every(x["location"] for x in r.record["characteristics"]),
    ),
    (
        "AS9102 form 3",
        SEEN,
        "7 designator",
        lambda r: every(x["designator"] for x in r.record["characteristics"]),
    ),
    (
        "AS9102 form 3",
        SEEN,
        "8 requirement",
        lambda r: (
            r.headed("Requirement")
            and every(x["requirement"] for x in r.record["characteristics"])
        ),
    ),
    (
        "AS9102 form 3",
        SEEN,
        "9 results",
        lambda r: (
            r.headed("Results")
            and every(
                x["result"]
                for x in r.record["characteristics"]
                if x["state"] == "conforms"
            )
        ),
    ),
    (
        "AS9102 form 3",
        SEEN,
        "10 tooling",
        lambda r: (
            r.headed("Tooling")
            and any(
                r.says(x["tooling"])
                for x in r.record["characteristics"]
                if x["tooling"]
            )
        ),
    ),
    (
        "AS9102 form 3",
        SEEN,
        "11 nonconformance number of what fails",
        failing_have_items,
    ),
    (
        "AS9102 form 3",
        SEEN,
        "14 additional data, comments",
        lambda r: r.headed("Comments"),
    ),
    (
        "AS9102 form 3",
        SEEN,
        "the same identity on every sheet",
        lambda r: every(
            r.order.airframe.serial in page and "issue 1" in page for page in r.pages
        ),
    ),
    (
        "AS9100D 8.7",
        SEEN,
        "disposition by a right one",
        lambda r: (
            {"use as is", "rework", "scrap"}
            <= {x["disposition"] for x in r.sections["nonconformances"]}
        ),
    ),
    (
        "AS9100D 8.7",
        SEEN,
        "who decided",
        lambda r: (
            r.headed("Disposition authority")
            and every(
                x["authority"]
                for x in r.sections["nonconformances"]
                if x["disposition"]
            )
        ),
    ),
    (
        "AS9100D 8.7",
        SEEN,
        "verified again after rework",
        lambda r: (
            any(step[2].startswith("verified") for step in stories(r))
            and r.headed("Verified by")
        ),
    ),
    ("AS9131", MEMORY, "number of each nonconformance", every_item),
    ("AS9131", MEMORY, "part and serial", lambda r: r.some("nonconformances", "part")),
    (
        "AS9131",
        MEMORY,
        "requirement and what was found",
        lambda r: r.some("nonconformances", "requirement", "found"),
    ),
    ("AS9131", MEMORY, "place", lambda r: r.some("nonconformances", "place")),
    (
        "AS9131",
        MEMORY,
        "cause",
        lambda r: r.headed("Cause") and r.some("nonconformances", "cause"),
    ),
    (
        "AS9131",
        MEMORY,
        "found by whom, when",
        lambda r: every(
            x["story"] and x["story"][0][0] and x["story"][0][1]
            for x in r.sections["nonconformances"]
        ),
    ),
    ("AS9131", MEMORY, "concession", lambda r: r.some("nonconformances", "concession")),
    ("AS9131", MEMORY, "closed", lambda r: r.some("nonconformances", "closed")),
    (
        "14 CFR 43.9(a)(1)",
        SEEN,
        "description of the work, or a reference",
        lambda r: every(r.says(x["what"]) and x["meaning"] for x in signatures(r)),
    ),
    (
        "14 CFR 43.9(a)(2)",
        SEEN,
        "date of completion",
        lambda r: every(r.says(x["at"]) for x in signatures(r)),
    ),
    (
        "14 CFR 43.9(a)(3)",
        SEEN,
        "name of who did it",
        lambda r: (
            every(r.says(x["by"]) for x in signatures(r))
            and any(x["meaning"].startswith("performed") for x in signatures(r))
        ),
    ),
    (
        "14 CFR 43.9(a)(4)",
        SEEN,
        "signature, certificate number and kind",
        lambda r: (
            r.headed("Certificate number and kind")
            and any(r.says(x["certificate"]) for x in signatures(r) if x["certificate"])
        ),
    ),
    ("AC 120-78B", MEMORY, "unique to the signer", signers),
    (
        "AC 120-78B",
        MEMORY,
        "deliberate: proven in that act, with a meaning",
        lambda r: every(
            re.search(r"\(signed, proven by (password|PIN)\)", x["meaning"])
            for x in proven(r)
        ),
    ),
    (
        "AC 120-78B",
        MEMORY,
        "scope: what is signed",
        lambda r: every(r.says(x["what"]) for x in proven(r)),
    ),
    ("AC 120-78B", MEMORY, "bound to the content", bound),
    (
        "AC 120-78B",
        MEMORY,
        "an edit after it shows",
        lambda r: (
            {"holds", "changed since"}
            <= {x["holds"].partition(":")[0] for x in signatures(r)}
        ),
    ),
    (
        "AC 120-78B",
        MEMORY,
        "traceable in time, with the zone",
        lambda r: every(re.search(r"[+-]\d\d:\d\d$", x["at"]) for x in signatures(r)),
    ),
    (
        "AC 120-78B",
        MEMORY,
        "printed, to be kept",
        lambda r: r.headed("Digest of what was signed", "Holds"),
    ),
]
# Asked for by a form, kept by no record of the shop: (field, why not).
NOT_KEPT = [
    ("AS9102 form 1, 11 supplier code, 12 order number", "it buys no parts by order"),
    ("AS9102 form 2, 7 code, 9 customer approval", "it has no customer"),
    ("AS9102 form 2, 11 functional test procedure", "functional tests are not its job"),
]


def missing(read: Read) -> list[tuple]:
    return [fact[:3] for fact in FACTS if not fact[3](read)]
