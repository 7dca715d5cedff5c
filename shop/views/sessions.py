"""Where somebody is signed in, and ending it: one's own, and the lead everybody's."""

from django.contrib import messages
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_POST, require_safe

from shop import roles
from shop.actions import sessions as actions
from shop.models import Person
from shop.queries import sessions as queries


def _person(request, pk: int | None) -> Person:
    """Whose sessions an address means: one's own, or somebody's, for the lead."""
    if pk is None:
        roles.require(request.user, "look")
        return request.user
    roles.require(request.user, "manage people")
    return get_object_or_404(Person, pk=pk)


def _list(pk: int | None):
    return redirect("person_sessions", pk) if pk else redirect("sessions")


@require_safe
def sessions(request, pk=None):
    person = _person(request, pk)
    context = {
        "person": person,
        "whose": pk,
        "rows": queries.sessions_of(person, here=request.session.session_key),
        "proofs": queries.proofs_of(person),
    }
    return render(request, "shop/people/sessions.html", context)


@require_POST
def end_session(request, handle, pk=None):
    person = _person(request, pk)
    session = queries.session_named(person, handle)
    actions.end_session(by=request.user, person=person, session=session)
    if session.pk == request.session.session_key:
        return redirect("sign_in")
    messages.success(request, _("Signed out there."))
    return _list(pk)


@require_POST
def end_sessions(request, pk=None):
    person = _person(request, pk)
    here = request.session.session_key if person.pk == request.user.pk else ""
    ended = actions.end_sessions(by=request.user, person=person, but=here or "")
    messages.success(
        request,
        ngettext("Signed out in %(n)d browser.", "Signed out in %(n)d browsers.", ended)
        % {"n": ended},
    )
    return _list(pk)
