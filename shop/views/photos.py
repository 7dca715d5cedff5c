"""Photos of things."""

import hashlib
import logging
from functools import partial

from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from shop import identifiers, roles
from shop.actions.photos import add_photo as keep_photo
from shop.forms.floor import PhotoForm
from shop.ledger import file_store
from shop.models import Photo, ShopIdentity

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
        if not _is_on_record(sha256):
            raise Http404 from None
        return _instead(_("The file of this photo is gone."), 404)
    except file_store.StoreFails as why:
        log.error("a photo cannot be shown: %s", why)
        return _instead(_("The store of the photos does not answer."), 503)
    except OSError as why:
        log.error("the photo %s cannot be shown: %s", sha256[:12], why)
        return _instead(_("The file of this photo cannot be read."), 503)
    if hashlib.sha256(content).hexdigest() != sha256:
        # A browser would keep it for good.
        log.error("the photo %s is not shown: its file was changed", sha256[:12])
        return _instead(_("The file of this photo was changed."), 404)
    response = HttpResponse(content, content_type="image/jpeg")
    response["Cache-Control"] = "private, max-age=31536000, immutable"
    response["Content-Disposition"] = f'inline; filename="{sha256[:12]}.jpg"'
    return response


def _is_on_record(sha256: str) -> bool:
    marks = ShopIdentity.objects.filter(mark=sha256)
    return Photo.objects.filter(sha256=sha256).exists() or marks.exists()


def _instead(words: str, status: int) -> HttpResponse:
    """A picture of what is wrong: pages show photos as pictures, and a browser that
    gets none says nothing."""
    context = {"words": words, "help": _("Tell the lead: a backup has it.")}
    kind = "image/svg+xml"
    return render(None, "shop/errors/no_photo.svg", context, kind, status)
