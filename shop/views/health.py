"""Whether the server answers: "ok", and no more."""

from django.contrib.auth.decorators import login_not_required
from django.http import HttpResponse
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe


@login_not_required
@never_cache
@require_safe
def health(request):
    return HttpResponse("ok", content_type="text/plain")
