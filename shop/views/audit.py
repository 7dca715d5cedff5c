"""The door and what people may do, as it went: for the lead."""

from django.views.decorators.http import require_safe

from shop import roles
from shop.forms.people import AuditFilter
from shop.queries import audit as queries
from shop.views.list_files import list_page, page_asked

from . import list_columns


@require_safe
def audit(request):
    roles.require(request.user, "manage people")
    form = AuditFilter(request.GET)
    page = queries.audit(**form.chosen, page=page_asked(request))
    context = {"page": page, "filter": form}
    return list_page(request, "shop/people/audit.html", context, list_columns.AUDIT)
