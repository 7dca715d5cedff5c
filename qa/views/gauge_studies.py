"""Gauge studies: planned, measured turn by turn, told when all is read."""

from django.contrib import messages
from django.http import Http404
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_POST

from qa.actions import gauge_studies as actions
from qa.forms.gauge_studies import StudyAgainForm, StudyForm, StudyValueForm
from qa.models import GaugeStudy, Instrument
from qa.queries import gauge_studies as queries
from qa.queries import study_sheets
from qa.rules import gauge_studies as rules
from qa.rules import gauges
from shop import roles
from shop.forms.fields import number_in
from shop.ledger import Refused
from shop.models import Person
from shop.queries.paging import page_of
from shop.views.acting import attempt, form_page, posted
from shop.views.list_files import list_page, page_asked

from . import list_columns, papers
from .joints import unit_of

STUDIES = GaugeStudy.objects.select_related("instrument", "joint", "entry__by")


@require_GET
def gauge_studies(request):
    roles.require(request.user, "look")
    page = page_of(queries.studies(), page_asked(request), queries.study_row)
    context = {"page": page}
    file = list_columns.STUDIES
    return list_page(request, "qa/gauge_studies/studies.html", context, file)


def new_gauge_study(request):
    roles.require(request.user, "define instruments")
    start = {"unit": request.user.units, "repeats": 3}
    asked = number_in(request.GET.get("instrument"))
    if asked and Instrument.objects.filter(pk=asked).exists():
        start["instrument"] = asked
    return form_page(
        request,
        StudyForm(posted(request), initial=start),
        lambda **data: actions.plan_study(by=request.user, **data),
        heading=_("Plan a gauge study"),
        back=lambda study: reverse("gauge_study", args=[study.number]),
        above=(_("Gauge studies"), reverse("gauge_studies")),
        notes=[
            _("Each person measures every place so many times, in an order that is "
              "shuffled once. Nobody sees a value before all are read.")
        ],
        button=_("Shuffle and start"),
    )  # fmt: skip


def _study(request, number, verb="look") -> GaugeStudy:
    return roles.fetch(request.user, verb, STUDIES, number=number)


@require_GET
def gauge_study(request, number):
    study = _study(request, number)
    page = queries.study_page(study, unit_of(request))
    return render(request, "qa/gauge_studies/study.html", {"page": page})


@require_GET
def gauge_study_paper(request, number):
    # reportlab is slow to import and most pages never print.
    from qa.paper import study_sheet as paper  # noqa: PLC0415

    study = _study(request, number)
    page = queries.study_page(study, unit_of(request))
    if page.finding is None:  # values stay hidden
        raise Http404
    url = request.build_absolute_uri(reverse("gauge_study", args=[number]))
    data = paper.render(study_sheets.sheet_of(page, url), papers.paper_of(request))
    return papers.answer(data, f"{study.label}.pdf")


def _person(study: GaugeStudy, key: int) -> Person:
    return get_object_or_404(study.people, pk=key)


def measure_study(request, number, person):
    """One person's turns, one after the other; no value that was read is shown."""
    study = _study(request, number, "measure")
    who = _person(study, person)
    state = rules.state_of(study)
    turn = state.next_of(who.pk)
    study_url = reverse("gauge_study", args=[number])
    if turn is None:
        messages.success(request, _("%(who)s has read everything.") % {"who": who.name})
        return redirect(study_url)
    if request.method == "POST":
        form = StudyValueForm(request.POST)
        if form.is_valid():
            turns = {turn.number for turn in state.of(who.pk)}
            if form.cleaned_data["turn"] not in turns:
                raise Http404
        done, _value = attempt(
            form,
            lambda **data: actions.record_value(by=request.user, study=study, **data),
        )
        if done:
            return redirect("measure_study", number=number, person=person)
    else:
        unit = unit_of(request)
        form = StudyValueForm(initial={"unit": unit, "turn": turn.number})
    context = {
        "study": study,
        "doubts": queries.instrument_doubts(study.instrument),
        "refused": gauges.refusal(study.instrument),
        "who": who,
        "turn": turn,
        "form": form,
        "read": state.read_by(who.pk),
        "of": len(state.of(who.pk)),
    }
    return render(request, "qa/gauge_studies/measure.html", context)


def read_again(request, number, person):
    """Replace the value that a person read last, with a reason."""
    study = _study(request, number, "measure")
    who = _person(study, person)
    state = rules.state_of(study)
    mine = [turn for turn in state.of(who.pk) if turn.number in state.values]
    if not mine:
        raise Http404
    last = max(mine, key=lambda turn: state.values[turn.number].pk)
    above = reverse("measure_study", args=[number, person])
    why = gauges.refusal(study.instrument)
    if why and request.method != "POST":  # the page before offers it no more
        messages.error(request, why)
        return redirect(above)
    return form_page(
        request,
        StudyAgainForm(posted(request), initial={"unit": unit_of(request)}),
        lambda **data: actions.record_value(
            by=request.user,
            study=study,
            turn=last.number,
            supersedes=state.values[last.number],
            **data,
        ),
        heading=_("Read %(place)s again, %(who)s")
        % {"place": last.place, "who": who.name},
        back=above,
        above=(study.label, above),
    )


@require_POST
def use_study(request, number):
    """Take what a study found into the uncertainty of its instrument."""
    study = _study(request, number, "define instruments")
    try:
        smaller = request.POST.get("smaller") == "on"
        actions.use_study(by=request.user, study=study, smaller=smaller)
    except Refused as no:
        messages.error(request, no.message)
        return redirect("gauge_study", number=number)
    return redirect("instrument", pk=study.instrument_id)
