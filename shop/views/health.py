"""Whether the server answers and can save: "ok", or the one word that says why not."""

from django.contrib.auth.decorators import login_not_required
from django.http import HttpResponse
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from shop.serving import storage_errors


@login_not_required
@never_cache
@require_safe
def health(request):
    if storage_errors.has_room():
        return HttpResponse("ok", content_type="text/plain")
    return HttpResponse("full", status=507, content_type="text/plain")
