"""What the lists of fit and proof are as files: their columns."""

from django.utils.translation import gettext_lazy as _

from shop.numeric.units import PERMILLE_PER_PERCENT, to_mm
from shop.views.list_files import Column, ListFile, state_word
from shop.wording import states

STATE = Column(_("State"), state_word())
NAME = Column(_("Name"), "name")


def _verdict(row) -> str:
    return states.whole_word(states.key_of(row.verdict) or states.NOT_MEASURED)


JOINTS = ListFile(
    "joints",
    _("Joints"),
    (
        Column(_("Joint"), "number"),
        NAME,
        Column(_("Type"), "type"),
        Column(_("Fitted part"), "position"),
        Column(_("Against"), "surround"),
        Column(_("Revision"), "revision"),
        Column(_("Stations"), "stations"),
        Column(_("Rule"), "rule"),
    ),
)

CHECKS = ListFile(
    "fit-checks",
    _("Fit checks"),
    (
        Column(_("Check"), "label"),
        Column(_("Airframe"), "airframe"),
        Column(_("Joint"), "joint"),
        Column(_("Name"), "joint_name"),
        Column(_("Part"), "part"),
        Column(_("Fit-up"), "fit_up"),
        Column(_("Wanted"), "wanted"),
        Column(_("Measured"), "measured"),
        Column(_("Conform"), "conforms"),
        Column(_("Do not conform"), "does_not_conform"),
        Column(_("Not proven"), "not_proven"),
        Column(_("Verdict"), _verdict),
        Column(_("Doubt"), "doubt"),
        STATE,
        Column(_("Started"), "started_at"),
        Column(_("By"), "by"),
    ),
)

NONCONFORMANCES = ListFile(
    "nonconformances",
    _("Nonconformances"),
    (
        Column(_("Number"), "label"),
        Column(_("Airframe"), "airframe"),
        Column(_("Joint"), "joint"),
        Column(_("Kind"), "kind_label"),
        Column(_("Title"), "title"),
        Column(_("Requirement"), "requirement"),
        Column(_("Found"), "found"),
        Column(_("Place"), "place"),
        Column(_("Part"), "part"),
        Column(_("Check"), "check"),
        Column(_("Source"), "source"),
        Column(_("Severity"), "severity"),
        Column(_("Blocking"), "blocking"),
        STATE,
        Column(_("Cause"), "cause"),
        Column(_("Disposition"), "disposition"),
        Column(_("With"), "holder"),
        Column(_("Due"), "due"),
        Column(_("Raised by"), "raised_by"),
        Column(_("Opened"), "opened_at"),
        Column(_("Days"), "days"),
        Column(_("Closed"), "closed_at"),
    ),
)

OFFERS = ListFile(
    "offers",
    _("Offered for inspection"),
    (
        Column(_("Offer"), "offer"),
        Column(_("Joint"), "joint"),
        Column(_("Airframe"), "airframe"),
        Column(_("Part"), "part"),
        STATE,
        Column(_("Since then"), "why"),
        Column(_("Not shown to conform"), "open_lines"),
        Column(_("Offered by"), "by"),
        Column(_("When"), "at"),
        Column(_("Inspected by"), "inspected"),
    ),
)

CHARACTERISTICS = ListFile(
    "characteristics",
    _("Characteristics"),
    (
        Column(_("Number"), "number"),
        NAME,
        Column(_("What it is"), "quality"),
        Column(_("Required"), "limits"),
        Column(_("With a photo"), "photo"),
        Column(_("Bay"), "bay"),
        Column(_("Joint"), "joint"),
    ),
)

INSTRUMENTS = ListFile(
    "instruments",
    _("Instruments"),
    (
        Column(_("Code"), "code"),
        NAME,
        Column(_("Kind"), "kind"),
        Column(_("Standard uncertainty"), "uncertainty"),
        Column(_("Base"), "base"),
        Column(_("Calibration due"), "due"),
        Column(_("Overdue"), "overdue"),
        Column(_("State"), "state_label"),
        Column(_("Found off"), "found_off"),
    ),
)

STUDIES = ListFile(
    "gauge-studies",
    _("Gauge studies"),
    (
        Column(_("Study"), "study"),
        Column(_("Instrument"), lambda row: row.study.instrument),
        Column(_("What"), lambda row: row.study.what),
        Column(_("Planned by"), lambda row: row.study.entry.author),
        Column(_("Read"), "read"),
        Column(_("To read"), "turns"),
        STATE,
    ),
)

PACKS = ListFile(
    "packs",
    _("Inspection packs"),
    (
        Column(_("Pack"), "label"),
        Column(_("Of"), "what"),
        Column(_("Airframe"), "airframe"),
        Column(_("Issue"), "issue"),
        Column(_("Issued"), lambda row: row.issued is not None),
        Column(_("Pages"), lambda row: row.issued and row.issued.pages),
        Column(_("By"), "by"),
        Column(_("When"), "at"),
    ),
)

TEMPORARY_ITEMS = ListFile(
    "temporary-items",
    _("Temporary items"),
    (
        Column(_("Number"), "label"),
        Column(_("Count"), "count"),
        Column(_("What"), "what"),
        Column(_("Why"), "why"),
        Column(_("Airframe"), "airframe"),
        Column(_("Bay"), "bay"),
        Column(_("Where"), "where"),
        STATE,
        Column(_("In"), "inside"),
        Column(_("Out"), "out"),
        Column(_("Not found"), "missing"),
        Column(_("Released"), "released"),
        Column(_("Put in by"), "by"),
        Column(_("When"), "at"),
    ),
)

HOLE_PATTERNS = ListFile(
    "hole-patterns",
    _("Hole patterns"),
    (
        Column(_("Pattern"), "number"),
        NAME,
        Column(_("Joint"), lambda row: row.joint.number if row.joint else ""),
        Column(_("Design"), "design"),
        Column(_("Mate"), "mate"),
        Column(_("Revision"), lambda row: row.current.number),
        Column(_("Holes"), "hole_count"),
        Column(_("Checks"), "check_count"),
    ),
)

PAIRS = ListFile(
    "pairs",
    _("Left and right"),
    (
        Column(_("Left"), "left"),
        Column(_("Name"), lambda row: row.left.name),
        Column(_("Right"), "right"),
        Column(_("Name"), lambda row: row.right.name),
    ),
)

TABLETS = ListFile(
    "tablets",
    _("Tablets"),
    (
        NAME,
        Column(_("Enrolled"), "enrolled_at"),
        Column(_("By"), lambda row: row.enrolled_by.name),
        Column(_("Last seen"), "seen_at"),
        Column(_("Revoked"), "revoked_at"),
    ),
)

REPEATS = ListFile(
    "repeats",
    _("What repeats from pull to pull"),
    (
        Column(_("Mold"), "mold"),
        Column(_("What"), "what"),
        Column(_("Where"), "where"),
        Column(_("Pulls"), lambda row: ", ".join(map(str, row.pulls))),
        Column(_("Items"), lambda row: ", ".join(f"{i[1]} {i[2]}" for i in row.items)),
    ),
)

MOST_OFTEN = ListFile(
    "most-often",
    _("What comes most often"),
    (
        Column(_("What"), lambda row: row[0].bar.name),
        Column(_("How often"), lambda row: row[0].bar.count),
        Column(_("Share, %"), lambda row: row[0].permille / PERMILLE_PER_PERCENT),
        Column(
            _("Share up to here, %"), lambda row: row[0].up_to / PERMILLE_PER_PERCENT
        ),
    ),
)

DEFECT_KINDS = ListFile(
    "kinds-of-defect",
    _("Kinds of defect"),
    (Column(_("Kind of defect"), "name"), Column(_("May be chosen"), "in_use")),
)

SHIMS = ListFile(
    "shims",
    _("Shims that the shop keeps"),
    (
        Column(_("Thickness, mm"), lambda row: to_mm(row.thickness_nm)),
        Column(_("Material or mark"), "name"),
        Column(_("May be used"), "in_use"),
    ),
)
