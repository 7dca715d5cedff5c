"""The page that hands out the shop's certificate, to whoever has no sign-in yet."""

from django.contrib.auth.decorators import login_not_required
from django.http import Http404, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from shop.serving import certificates


@login_not_required
@require_safe
def trust(request):
    context = {
        "authority": certificates.present_authority(),
        "private_url": certificates.private_url(request.get_host()),
    }
    return render(request, "shop/trust/trust.html", context)


@login_not_required
@require_safe
def trust_certificate(request):
    authority = certificates.present_authority()
    if authority is None:
        raise Http404
    # With this type iPads and Androids offer to install it.
    return HttpResponse(
        authority.der,
        content_type="application/x-x509-ca-cert",
        headers={"Content-Disposition": 'attachment; filename="shop-certificate.crt"'},
    )
