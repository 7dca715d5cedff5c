"""The stations of a joint as one text that a person can see and correct."""

from django import forms
from django.conf import settings
from django.utils.translation import gettext_lazy as _
from django.utils.translation import ngettext

from qa.actions.joints import StationDraft
from qa.files import joint as joint_file
from qa.files.columns import Complaint, FileComplaints, text_of
from qa.files.joint import JointFile
from qa.forms.station_drafts import Positions, drafts
from shop.numeric.units import BYTES_PER_MB

LONGEST_TEXT = 400_000
MOST_SHOWN = 100


def text_of_upload(upload) -> str:
    """The text in an uploaded file; FileComplaints when it cannot be used."""
    limit = settings.UPLOAD_LIMIT_BYTES
    if upload.size > limit:
        sizes = (
            f"{upload.size / BYTES_PER_MB:.1f} MB; at most {limit / BYTES_PER_MB:g} MB"
        )
        raise FileComplaints([Complaint(f"the file is too large: {sizes}")])
    text = text_of(upload.read()).replace("\r\n", "\n").replace("\r", "\n")
    if len(text) > LONGEST_TEXT:
        reason = f"{len(text)} characters are more than a joint needs"
        raise FileComplaints([Complaint(f"{reason}; at most {LONGEST_TEXT}")])
    if not text.strip():
        raise FileComplaints([Complaint("the file is empty")])
    return text


class StationsForm(forms.Form):
    """Mixed into the forms of a joint, after its requirement.

    After validation: `joint_file` and `drafts`, or `complaints`. `positions` of the
    type the joint is on are given by the form that knows it.
    """

    file = forms.FileField(
        label=_("A CSV or a DXF file"),
        required=False,
        help_text=_(
            "CSV: station, x_mm, y_mm and what else is known. DXF: the seam as lines, "
            "arcs or splines, with points for stations or without. Up to 5 MB."
        ),
    )
    layer = forms.CharField(
        label=_("Layer of the seam"),
        required=False,
        max_length=200,
        help_text=_("Of a drawing in which more is drawn than the seam."),
    )
    stations = forms.CharField(
        label=_("Stations"),
        strip=False,
        error_messages={
            "required": _("There are none yet: choose one of the ways above.")
        },
        max_length=LONGEST_TEXT,
        widget=forms.Textarea(
            attrs={"class": "code", "spellcheck": "false", "autocomplete": "off"}
        ),
        help_text=_("One a line in the order of the seam; the first names columns."),
    )
    rounded = forms.BooleanField(
        label=_("The edge has no sharp corners but those marked"),
        required=False,
        help_text=_(
            "Where it turns by more than 60 degrees at one station (120 at most) it is "
            "then round, and looks the way of a curve there: two stations on each side "
            "tell which, three where the side bows."
        ),
    )
    before = forms.CharField(
        label=_("The text that was here before"),
        required=False,
        strip=False,
        widget=forms.Textarea(attrs={"rows": 5, "readonly": True, "class": "code"}),
    )

    complaints: list[Complaint] = []
    joint_file: JointFile | None = None
    drafts: list[StationDraft] = []

    def positions(self) -> Positions:
        return Positions()

    def clean(self):
        cleaned = super().clean()
        self.complaints = self._read(cleaned.get("stations") or "")
        if self.complaints:
            message = ngettext(
                "%(count)s thing to put right, listed beside the text.",
                "%(count)s things to put right, listed beside the text.",
                len(self.complaints),
            )
            self.add_error("stations", message % {"count": len(self.complaints)})
        return cleaned

    def _read(self, text: str) -> list[Complaint]:
        if "stations" in self.errors:
            return []
        try:
            self.joint_file = joint_file.parse(
                text.encode(),
                closed=self.closed_seam,
                part_inside=self.inside,
                rounded=bool(self.data.get(self.add_prefix("rounded"))),
            )
            self.drafts = drafts(self.joint_file, self.positions())
        except FileComplaints as bad:
            return bad.complaints
        return []

    @property
    def complaint_rows(self) -> list[dict]:
        """Complaints as a page lists them, each with the line it is about."""
        # As the file's lines are counted, not as str.splitlines would.
        text = (self.data.get("stations") or "").replace("\r\n", "\n")
        lines = text.split("\n")
        return [
            {
                "line": complaint.line,
                "column": complaint.column,
                "text": complaint.text,
                "excerpt": lines[complaint.line - 1][:160]
                if complaint.line and complaint.line <= len(lines)
                else "",
            }
            for complaint in self.complaints[:MOST_SHOWN]
        ]

    @property
    def more_complaints(self) -> int:
        return max(0, len(self.complaints) - MOST_SHOWN)
