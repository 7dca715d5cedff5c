"""What stands in front of every act: the right to do it."""

import inspect
from importlib import import_module
from pathlib import Path

import pytest
from django.core.exceptions import PermissionDenied

TREE = Path(__file__).resolve().parent.parent


def verbs():
    """Every public function of the actions that somebody does: it takes `by`."""
    for app in ("shop", "qa"):
        for path in sorted((TREE / app / "actions").glob("[a-z]*.py")):
            module = import_module(f"{app}.actions.{path.stem}")
            for name, function in vars(module).items():
                if name.startswith("_") or not inspect.isfunction(function):
                    continue
                ours = function.__module__ == module.__name__
                if ours and "by" in inspect.signature(function).parameters:
                    yield f"{app}.{path.stem}.{name}", function


class Anything:
    """Stands for every row and value: whoever looks at it before the right of the
    person is too early, and gets on with it."""

    def __getattr__(self, name):
        return self

    def __call__(self, *_arguments, **_named):
        return self

    def __iter__(self):
        return iter(())

    def __bool__(self):
        return False


def asked(function, by):
    """Call it with the person, and with anything for what else it must have."""
    given = {
        name: Anything()
        for name, one in inspect.signature(function).parameters.items()
        if one.default is one.empty and one.kind is one.KEYWORD_ONLY and name != "by"
    }
    return function(by=by, **given)


VERBS = dict(verbs())
# Whoever is signed in does these for themselves, or they are part of an act that asked.
FREE = {
    "shop.handover.mark_read": "what a person read of their own list",
    "shop.signing_in.change_own_password": "a person's own",
    "shop.tablets.set_pin": "a person's own",
    "shop.second_factor.set_second_factor": "a person's own",
    "shop.second_factor.renew_recovery_codes": "a person's own, proven by a code",
    "shop.second_factor.remove_second_factor": "a person's own, proven by a code",
    "qa.next_fit_up.open_next": "inside of the act of a cut or a move",
    "qa.photos.add_tablet_photo": "hands on to add_photo, which asks",
}


@pytest.mark.parametrize("name", sorted(set(VERBS) - set(FREE)))
def test_nobody_acts_without_the_right(name, people):
    with pytest.raises(PermissionDenied):
        asked(VERBS[name], people["visitor"])
