"""Photos of things."""

import hashlib
import logging
from functools import partial

from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from shop import identifiers, roles
from shop.actions.photos import add_photo as keep_photo
from shop.forms.floor import PhotoForm
from shop.ledger import file_store

from .acting import act_page, posted
from .airframes import form_view

log = logging.getLogger(__name__)


@form_view
def add_photo(request, kind, pk):
    roles.require(request.user, "add photos")
    if kind not in identifiers.KINDS:
        raise Http404
    row = get_object_or_404(identifiers.KINDS[kind].rows(), pk=pk)
    form = PhotoForm(posted(request), request.FILES or None)
    act = partial(keep_photo, subject_kind=kind, subject_id=str(pk))
    heading = _("Photo of %(thing)s") % {"thing": row}
    return act_page(request, row, form, act, heading)


@require_safe
def photo(request, sha256):
    """The file of a photo: it never changes, so a browser may keep it for good."""
    roles.require(request.user, "look")
    try:
        path = file_store.path_of(file_store.name_of(sha256, "jpg"))
        content = path.read_bytes()
    except FileNotFoundError:
        raise Http404 from None
    except file_store.StoreFails as why:
        log.error("a photo cannot be shown: %s", why)
        return _instead(str(why), 503)
    if hashlib.sha256(content).hexdigest() != sha256:
        # A browser would keep it for good.
        log.error("the photo %s is not shown: its file was changed", sha256[:12])
        return _instead(_("Its file was changed: bring it back from a backup."), 404)
    response = HttpResponse(content, content_type="image/jpeg")
    response["Cache-Control"] = "private, max-age=31536000, immutable"
    response["Content-Disposition"] = f'inline; filename="{sha256[:12]}.jpg"'
    return response


def _instead(words: str, status: int) -> HttpResponse:
    return HttpResponse(words, status=status, content_type="text/plain")
