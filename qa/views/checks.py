"""Fit checks at the desk: list, one check, opening one. Measuring is the tablet's."""

from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_GET

from qa.actions import check_starts
from qa.forms.checks import CheckFilter, NewCheckForm, WhichForm
from qa.models import Check, FitUp, Joint
from qa.queries.checks import check_pages as queries
from qa.queries.joints import drawings
from qa.queries.joints import joint_pages as joint_queries
from qa.rules import staleness
from shop import roles
from shop.forms.fields import choose_the_only, number_in
from shop.models import Airframe
from shop.numeric.units import MILLI
from shop.queries.paging import whole_page_of
from shop.queries.tooling import photos_of
from shop.rules import cure_states
from shop.views.acting import attempt
from shop.views.list_files import list_page, page_asked

from . import list_columns, papers


@require_GET
def checks(request):
    form = CheckFilter(request.GET)
    chosen = form.chosen
    rows = queries.checks(words=chosen.pop("q"), **chosen)
    page = whole_page_of(rows, page_asked(request), queries.check_rows)
    context = {"filter": form, "page": page}
    return list_page(request, "qa/checks/checks.html", context, list_columns.CHECKS)


def _sheet(request, uuid):
    rows = Check.objects.select_related(*queries.RELATED)
    check = roles.fetch(request.user, "look", rows, entry_id=uuid)
    unit = request.GET.get("unit")
    unit = unit if unit in ("mm", "in") else request.user.units
    return queries.check_view(check, unit)


@require_GET
def check(request, uuid):
    sheet = _sheet(request, uuid)
    fit_up = sheet.check.fit_up
    serials = {fit_up.part_id, fit_up.surround_part_id} - {None}
    doubted = cure_states.doubtful(serials)
    context = {
        "sheet": sheet,
        "check": sheet.check,
        "fit_up": fit_up,
        "cures": {pull.pk: pull for pulls in doubted.values() for pull in pulls},
        "revision": sheet.check.fit_up.revision,
        "map_svg": drawings.map_svg(sheet.map),
        "profile_svg": drawings.profile_svg(sheet.profile),
        "celsius": (sheet.check.temperature_mc or 0) / MILLI,
        "may_measure": roles.may(request.user, "measure"),
        "photos": photos_of("check", sheet.check.pk),
    }
    return render(request, "qa/checks/check.html", context)


@papers.of_the_record
def check_pdf(request, uuid):
    sheet = _sheet(request, uuid)
    data = papers.check_sheet(request, sheet)
    return papers.answer(data, f"{sheet.check.label}.pdf")


def new_check(request):
    """Choose airframe and joint, then state the condition; then to the tablet page."""
    roles.require(request.user, "measure")
    asked = request.POST if request.method == "POST" else request.GET
    airframe = _asked(Airframe, asked.get("airframe"))
    joint = _asked(Joint.objects.select_related("current"), asked.get("joint"))
    if not (airframe and joint):
        which = WhichForm(request.GET or None)
        airframe = airframe or which.chosen("airframe")
        joint = joint or which.chosen("joint")
        choices = joint_queries.joints_to_check(airframe, joint)
        if len(choices.rows) != 1:
            mapped = Joint.objects.exclude(current=None).exists()
            context = {"choices": choices, "which": which, "mapped": mapped}
            return render(request, "qa/checks/choose_joint.html", context)
        airframe, joint = choices.rows[0].airframe, choices.rows[0].joint
    last = FitUp.objects.filter(airframe=airframe, joint=joint).order_by("-number")
    last = last.select_related("part", "surround_part").first()
    form = NewCheckForm(
        request.POST or None,
        initial=joint_queries.condition_to_start_with(airframe, joint, last),
        parts=joint_queries.parts_that_fit(airframe, joint.position),
        surrounds=joint_queries.parts_that_fit(airframe, joint.surround),
        last_fit_up=last,
    )
    choose_the_only(form, "instrument")
    if request.method == "POST":
        done, started = attempt(
            form,
            lambda **data: check_starts.start(
                by=request.user, airframe=airframe, joint=joint, last=last, **data
            ),
        )
        if done:
            return redirect(f"{reverse('tablet')}check/{started.entry_id}")
    context = {"form": form, "airframe": airframe, "joint": joint, "last": last}
    state = staleness.state_of_joint(joint, airframe) if last else None
    context["first_to_measure"] = state.to_measure if state else []
    context["stale_since"] = state.now.reasons if state else ""
    context["off"] = state.off if state else ""
    return render(request, "qa/checks/new_check.html", context)


def _asked(rows, key):
    if not key:
        return None
    return get_object_or_404(rows, pk=number_in(key))
