"""Mapping a joint: stations from a file, along a shape or by hand, looked at, saved.

All ways end in one text that the person can see and correct. Looking saves nothing;
what was typed comes back whatever was wrong with it.
"""

from dataclasses import asdict

from django.contrib import messages
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from qa.actions import joints as actions
from qa.files import joint_text
from qa.files.columns import Complaint, FileComplaints
from qa.files.drawing import looks_like_dxf
from qa.forms import requirements
from qa.forms.drawings import (
    corner_points,
    drawing_of_upload,
    stations_text,
    what_was_read,
)
from qa.forms.joints import NewJointForm, RevisionForm
from qa.forms.layouts import LayoutForm
from qa.forms.stations import text_of_upload
from qa.models import Joint, JointRevision
from qa.queries.joints import drawings, opposite_hand
from qa.queries.joints import joint_pages as queries
from shop import roles
from shop.forms.fields import number_in
from shop.ledger import Refused
from shop.models import Position
from shop.views.acting import attempt

NOT_FLAT = "the seam is not flat: mark its stations with points, in their order"
form_view = require_http_methods(["GET", "HEAD", "POST"])


@form_view
def new_joint(request):
    """Make a joint; ?from=KEY starts from another one, ?mirror=KEY from its mirror
    image, ?position=KEY at a position."""
    roles.require(request.user, "define joints")
    page = Page(request, NewJointForm, start=lambda: _start_of_new(request))
    if page.wants_to_save:
        done, joint = attempt(
            page.form,
            lambda **_data: actions.define_joint(
                by=request.user,
                requirement=page.form.requirement,
                stations=page.form.drafts,
                reason=page.form.cleaned_data["reason"],
                **page.form.identity,
            ),
        )
        if done:
            return _saved(request, joint, 1)
    typed = page.form.cleaned_data if page.form.is_bound else {}
    sketch = Joint(
        position=typed.get("position") or Position(name=_("fitted part")),
        surround=typed.get("surround") or Position(name=_("surround")),
        number=typed.get("number") or "",
        name=typed.get("name") or "",
    )
    return page.answer(sketch)


@form_view
def revise_joint(request, pk):
    """Release the next revision; ?from=NUMBER starts from an older one."""
    rows = Joint.objects.exclude(current=None).select_related(
        "type", "position", "surround", "current"
    )
    joint = roles.fetch(request.user, "define joints", rows, pk=pk)
    page = Page(
        request,
        RevisionForm,
        start=lambda: _start_of_revision(request, joint),
        type_id=joint.type_id,
    )
    based_on = _number(request.POST.get("based_on")) or joint.current.number
    stale = based_on != joint.current.number
    if page.wants_to_save and not stale:
        try:
            done, revision = attempt(
                page.form,
                lambda **_data: _revise(request.user, joint, page.form, based_on),
            )
        except Stale:
            done, stale = False, True
            joint = rows.get(pk=pk)
        if done:
            return _saved(request, joint, revision.number)
    return page.answer(joint, joint=joint, based_on=joint.current.number, stale=stale)


class Stale(Exception):
    """Somebody released another revision in the meantime."""


def _revise(by, joint: Joint, form: RevisionForm, based_on: int) -> JointRevision:
    try:
        return actions.revise_joint(
            by=by,
            joint=joint,
            requirement=form.requirement,
            stations=form.drafts,
            based_on=based_on,
            reason=form.cleaned_data["reason"],
        )
    except Refused as no:
        if no.code == "stale":
            raise Stale from None
        raise


def _saved(request, joint: Joint, number: int):
    words = {"joint": joint.number, "number": number}
    messages.success(request, _("Saved: %(joint)s, revision %(number)s.") % words)
    return redirect("joint", joint.pk)


def _number(text) -> int:
    return number_in(text) or 0


def _start_of_new(request) -> dict:
    start = {"units": request.user.units, "position": request.GET.get("position")}
    rows = Joint.objects.exclude(current=None).select_related(
        "current", "position", "surround"
    )
    mirror = rows.filter(pk=_number(request.GET.get("mirror"))).first()
    if mirror:
        start |= requirements.mirrored(mirror.current) | {"mirror": mirror.pk}
        mirrored = opposite_hand.start_of_other_hand(mirror)
        start |= mirrored | {"position": start["position"] or mirrored["position"]}
        start["stations"] = _text_of(mirror.current, mirrored=True)
        start["first_line"], start["last_line"] = mirror.first_line, mirror.last_line
        return start
    other = rows.filter(pk=_number(request.GET.get("from"))).first()
    return start | _start_from(other.current) if other else start


def _start_of_revision(request, joint: Joint) -> dict:
    asked = _number(request.GET.get("from"))
    older = joint.revisions.filter(number=asked).first() if asked else None
    return _start_from(older or joint.current)


def _start_from(revision: JointRevision) -> dict:
    return {**requirements.initial_of(revision), "stations": _text_of(revision)}


def _text_of(revision: JointRevision, mirrored: bool = False) -> str:
    stations = list(revision.stations.select_related("surround"))
    rows = joint_text.rows_of(stations)
    if mirrored:
        rows = joint_text.mirrored(rows, revision.closed)
        opposite_hand.turn_surrounds(rows, stations)
    return joint_text.write(rows)


class Page:
    """One page with its form, the shapes, and what was asked of it.

    `do` is "look", "save", "read" (the chosen file) or "lay" (stations along a shape).
    """

    def __init__(self, request, form_class, *, start, **named):
        self.request = request
        self.notices: list[str] = []
        if request.method != "POST":
            self.do = ""
            self.form = form_class(initial=start(), **named)
            self.layout = LayoutForm(initial={"unit": request.user.units})
            return
        data = request.POST.copy()
        upload = request.FILES.get("file")
        self.do = data.get("do", "look")
        wrong_file = self._read(upload, data) if upload else None
        self.layout = LayoutForm(initial=data.dict())
        if self.do == "lay":
            self._lay(data)
        self.form = form_class(data, **named)
        self.form.is_valid()
        if wrong_file:
            self.form.add_error("file", wrong_file)
        if self.do in ("read", "lay"):
            self._keep_errors_of_stations(wrong_file)

    @property
    def wants_to_save(self) -> bool:
        return self.do == "save" and self.form.is_valid()

    def _read(self, upload, data) -> str | None:
        """Put the text of a file into the form; what is wrong with it otherwise."""
        try:
            if looks_like_dxf(upload.name):
                return self._read_drawing(upload, data)
            text = text_of_upload(upload)
        except FileComplaints as bad:
            return f"{upload.name}: {bad}."
        self._replace(data, text)
        self.notices.append(_("%(file)s was read.") % {"file": upload.name})
        if self.do == "save":
            self.do = "look"
            self.notices.append(_("Nothing is saved yet: look at it first."))
        return None

    def _read_drawing(self, upload, data) -> None:
        """Stations where the drawing marks some; else its seam, to lay them along."""
        unit = data.get("unit") if data.get("unit") in ("mm", "in") else "mm"
        drawn = drawing_of_upload(upload, layer=data.get("layer", ""), unit=unit)
        data["closed"] = "closed" if drawn.curve.closed else "open"
        if drawn.marks:
            inside = data.get("part_inside") != "outside"
            self._replace(data, stations_text(drawn, part_inside=inside))
        elif not drawn.flat:
            raise FileComplaints([Complaint(NOT_FLAT)])
        else:
            data["shape"], data["unit"] = "corners", unit
            data["corners"] = corner_points(drawn, unit)
            self.notices.append(
                _("It marks no station: say how to spread them, and lay them out.")
            )
        words = {"file": upload.name, "what": what_was_read(drawn)}
        self.notices.insert(0, _("%(file)s was read: %(what)s.") % words)
        self.do = "read"

    def _lay(self, data) -> None:
        self.layout = LayoutForm(data)
        text = self.layout.text(
            closed=data.get("closed") != "open",
            part_inside=data.get("part_inside") != "outside",
        )
        if text is not None:
            self._replace(data, text)
            self.notices.append(_("The stations were laid out."))

    def _replace(self, data, text: str) -> None:
        """Nothing typed is lost: the text that was there is kept below the new one."""
        old = data.get("stations", "").replace("\r\n", "\n")
        if old.strip() and old != text:
            data["before"] = old
        data["stations"] = text

    def _keep_errors_of_stations(self, wrong_file) -> None:
        """Whoever lays out stations has not filled in the rest of the page yet."""
        kept = {"file", "stations"}
        if (wrong_file or self.layout.errors) and not self.form.complaints:
            kept.remove("stations")  # there are none for a reason already told
        for name in set(self.form.errors) - kept:
            del self.form.errors[name]

    def answer(self, sketch: Joint, **context):
        drawn = self._drawn(sketch)
        context |= {
            "form": self.form,
            "layout": self.layout,
            "notices": self.notices,
            "view": drawn,
            "map_svg": drawn and drawings.map_svg(drawn.map),
            "looked": self.do in ("look", "read", "lay"),
        }
        return render(self.request, "qa/mapping/map_joint.html", context)

    def _drawn(self, joint: Joint):
        """The requirement as it would look once saved; None when it cannot be drawn."""
        if not self.form.is_bound:
            unit = self.request.user.units
            return queries.joint_view(joint, joint.current, unit) if joint.pk else None
        if not self.form.drafts:
            return None
        revision = JointRevision(**asdict(self.form.requirement))
        revision.joint = joint
        stations = [
            actions.station_of(revision, order, draft)
            for order, draft in enumerate(self.form.drafts)
        ]
        named = {station.surround_id for station in stations if station.surround_id}
        if named:
            surrounds = Position.objects.in_bulk(named)
            for station in stations:
                station.surround = surrounds.get(station.surround_id)
        return queries.unsaved_view(revision, stations)
