"""The page of the shop itself."""

from functools import partial

from django.urls import reverse
from django.utils.translation import gettext as _

from shop import roles
from shop.actions.identity import set_identity
from shop.forms.identity import IdentityForm
from shop.queries import identity

from .acting import form_page, posted
from .airframes import form_view


@form_view
def shop_identity(request):
    roles.require(request.user, "name the shop")
    now = identity.the_shop()
    start = {name: getattr(now, name, None) for name in IdentityForm.base_fields}
    return form_page(
        request,
        IdentityForm(posted(request), request.FILES or None, initial=start),
        partial(set_identity, by=request.user),
        heading=_("The shop"),
        back=reverse("shop_identity"),
        template="shop/identity/identity.html",
        history=identity.history(),
        mark=now.mark,
    )
