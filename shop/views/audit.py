"""The door and what people may do, as it went: for the lead."""

from django.shortcuts import render
from django.views.decorators.http import require_safe

from shop import roles
from shop.forms.people import AuditFilter
from shop.queries import audit as queries


@require_safe
def audit(request):
    roles.require(request.user, "manage people")
    form = AuditFilter(request.GET)
    page = queries.audit(**form.chosen, page=request.GET.get("page"))
    return render(request, "shop/people/audit.html", {"page": page, "filter": form})
