"""A correction as its papers want it: the sheet, and the new cut line at true size."""

from dataclasses import dataclass
from datetime import datetime
from functools import cached_property
from typing import ClassVar

from django.utils.translation import gettext as _

from qa.models import CorrectionEnding, Kind
from qa.numeric.geometry.edge_curve import Bend, Course, edge_curve
from qa.numeric.tool.estimate import Advice
from qa.queries.issue import GENERAL_CAUTIONS, Signature, boxes_of, local
from qa.queries.molds.corrections import CorrectionPage
from qa.queries.plans.edge_templates import part_on_left
from qa.rules import mold_assessment
from qa.rules.measuring_days import day_of
from shop.queries.identity import the_shop
from shop.queries.signatures import signed_thing

FURTHEST = 30.0  # mm; what is more is no correction of a line and fits no strip
MOVING = (Advice.OUT, Advice.IN)


@dataclass(frozen=True)
class ScribePoint:
    """A station on the edge: `s` mm along the present cut line; the new one lies
    `inward` mm towards the body of the part, negative when the part is to be larger."""

    s: float
    label: str
    inward: float
    estimable: bool = True

    @property
    def complaint(self) -> str:
        """Why it cannot be drawn, "" where it can."""
        far = abs(self.inward) > FURTHEST
        return f"{self.inward:g} mm is no correction of a cut line" if far else ""


@dataclass(frozen=True)
class ScribeTemplate:
    """The cut line of a mold, as it is and as it is to be. `seen_into`: as one looks
    into a female mold, which is mirrored against the drawing of the part."""

    shop: str
    number: str
    joint_number: str
    joint_name: str
    part: str
    points: tuple[ScribePoint, ...]
    length: float
    closed: bool
    body_on_left: bool
    bends: tuple[tuple[float, float, float], ...]
    seen_into: bool
    issued_at: datetime
    issued_text: str = ""
    url: str = ""
    digest: str = ""
    banner: str = ""
    release: str = ""
    notes: tuple[str, ...] = ()
    origin: ClassVar[str] = "correction"
    only: ClassVar[str] = ""  # drawn all along the edge
    unit: ClassVar[str] = "mm"

    @cached_property
    def course(self) -> Course:
        """The edge laid out on a plane."""
        return Course(tuple(Bend(*bend) for bend in self.bends))

    @cached_property
    def deepest(self) -> float:
        return max(0.0, *(point.inward for point in self.points))


def scribe_template(page: CorrectionPage, url: str, *, into: bool) -> ScribeTemplate:
    """The new cut line of a correction; `into` as seen into a female mold."""
    row = page.row
    geometry = mold_assessment.geometry_of(row.revision, page.seam)
    curve = edge_curve(geometry)
    left = part_on_left(geometry)
    bends = tuple((bend.length, bend.curvature, bend.turn) for bend in curve.bends)
    if into:
        # Mirrored: what bends to the left bends to the right.
        bends = tuple((length, -bent, -turn) for length, bent, turn in bends)
    points, unknown = [], []
    for value, label, s in zip(
        page.values[Kind.GAP], page.labels, curve.along, strict=True
    ):
        moves = value.advice in MOVING
        if value.advice == Advice.CANNOT_TELL:
            unknown.append(label)
        # A gap made smaller (correction below 0) is a line that goes out.
        inward = value.correction_mm if moves else 0.0
        points.append(ScribePoint(float(s), label, inward))
    notes = []
    if unknown:
        notes.append(_("Not told, line as it is: %s.") % ", ".join(unknown))
    return ScribeTemplate(
        shop=the_shop().name,
        number=row.label,
        joint_number=row.revision.joint.number,
        joint_name=row.revision.joint.name,
        part=f"{row.tool.code}, {row.design}",
        points=tuple(points),
        length=curve.length,
        closed=geometry.closed,
        body_on_left=left != into,
        bends=bends,
        seen_into=into,
        issued_at=row.entry.received_at,
        issued_text=local(row.entry.received_at),
        url=url,
        digest=row.digest,
        notes=tuple(notes),
    )


@dataclass(frozen=True)
class CorrectionSheet:
    """A correction on paper."""

    shop: str
    page: CorrectionPage
    identity: tuple[tuple[str, str], ...]
    notes: tuple[str, ...]
    issued_at: datetime
    issued_text: str
    creator: str
    url: str
    state: str
    cautions: tuple[str, ...] = (
        GENERAL_CAUTIONS[0],
        "Sanding, filling and cutting a mold: dust, resins and solvents irritate and "
        "sensitize. Extract the dust, wear what the safety data sheets ask for: they "
        "are the authority.",
    )
    signatures: tuple[Signature, ...] = ()


def sheet_of(page: CorrectionPage, url: str) -> CorrectionSheet:
    row = page.row
    end = page.end
    return CorrectionSheet(
        shop=the_shop().name,
        page=page,
        identity=(
            ("Mold", f"{row.tool.code} {row.tool.name}"),
            ("From the plug", row.tool.plug.code if row.tool.plug else "–"),
            ("Design", f"{row.design} {row.design.name}"),
            ("Joint", f"{row.revision.joint.number} rev {row.revision.number}"),
            ("Conform at first fit, now", page.shares["now"]),
            ("After the correction", page.shares["after"]),
            ("Told by", page.read_in),
            *_done(page),
            *_on_plug(page),
            ("Note", row.note or "–"),
        ),
        notes=(*page.shared, *page.notes),
        issued_at=row.entry.received_at,
        issued_text=local(row.entry.received_at),
        creator=row.entry.author,
        url=url,
        signatures=boxes_of(
            signed_thing("correction", row.pk),
            performed=Signature("Corrected by"),
            inspected=Signature("Looked at by", note="somebody else"),
        ),
        state=str(end.get_how_display()) if end else _("to be done"),
    )


def _done(page: CorrectionPage) -> list[tuple[str, str]]:
    """Before which pull the mold was corrected by it, if it was."""
    end = page.end
    if end is None or end.how != CorrectionEnding.DONE:
        return []
    words = _("before pull %(n)s, %(note)s") % {
        "n": end.last_pull + 1,
        "note": end.note,
    }
    return [(_("Corrected on the mold"), words)]


def _on_plug(page: CorrectionPage) -> list[tuple[str, str]]:
    """When the plug was corrected by it, if it was."""
    done = page.of_plug and page.of_plug.done
    if not done:
        return []
    day = done.done_on or day_of(done.entry.received_at)
    return [(_("Corrected on the plug"), f"{day}, {done.note}")]
