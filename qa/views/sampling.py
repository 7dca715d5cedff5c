"""What a sample protects from, and what the rule of a check risks."""

from django.shortcuts import render
from django.views.decorators.http import require_GET

from qa.forms.sampling import RiskForm, RisksForm, TableForm
from qa.models import Check
from qa.numeric.measuring.sampling import SamplingError
from qa.queries import sampling as queries
from qa.queries.checks.check_risks import risk_page, stations_of
from qa.rules.check_risks import groups_of, made_on_record
from shop import roles
from shop.numeric.units import PERCENT

from .joints import unit_of

WAYS = {"table": (TableForm, queries.by_table), "risks": (RisksForm, queries.by_risks)}
STARTS = {
    "table": {"level": "II", "limit": "1.0"},
    "risks": {"good": 1, "shop_risk": 5, "bad": 8, "customer_risk": 10},
}


@require_GET
def sampling(request):
    roles.require(request.user, "look")
    way = request.GET.get("way")
    forms = {
        name: form(request.GET if name == way else None, initial=STARTS[name])
        for name, (form, _answer) in WAYS.items()
    }
    page = None
    if way in WAYS and forms[way].is_valid():
        try:
            page = WAYS[way][1](**forms[way].cleaned_data)
        except SamplingError as why:
            forms[way].add_error(None, f"{str(why)[:1].upper()}{str(why)[1:]}.")
    context = {"forms": forms, "page": page, "way": way}
    return render(request, "qa/sampling/sampling.html", context)


RELATED = (
    "entry",
    "instrument",
    "fit_up__joint__current",
    "fit_up__revision",
    "fit_up__part",
)


@require_GET
def check_risk(request, uuid):
    rows = Check.objects.select_related(*RELATED)
    check = roles.fetch(request.user, "look", rows, entry_id=uuid)
    unit = unit_of(request)
    made, reads = made_on_record(check.fit_up.joint, check.u_nm)
    stations = stations_of(check)
    start = RiskForm.initial_of(made, unit)
    asked = request.GET if "wish" in request.GET else start
    form = RiskForm(asked, groups=groups_of(stations))
    wish = None
    if form.is_valid():
        made, wish = form.made, form.cleaned_data["wish"]
    wish = wish and wish / PERCENT
    page = risk_page(check, stations, made, wish, reads, unit)
    context = {"check": check, "form": form, "page": page}
    return render(request, "qa/sampling/check_risk.html", context)
