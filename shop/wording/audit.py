"""What happened at the door and to what people may do, in words."""

from django.utils.translation import gettext_lazy as _

# By what a list of it can be narrowed.
KINDS = {
    "door": _("Signed in"),
    "refused": _("Wrong or refused"),
    "people": _("People and roles"),
    "secrets": _("Passwords and PINs"),
    "sessions": _("Sessions ended"),
    "factor": _("Second factor"),
    "tablets": _("Tablets and tokens"),
    "shop": _("The shop's settings"),
}
# The forms of acts, by kind.
FORMS = {
    "people": {
        "first_person/1": _("first lead made"),
        "person/1": _("person added"),
        "person_role/1": _("role changed"),
        "person_active/1": _("may sign in, or no longer"),
        "person_certificate/1": _("certificate changed"),
    },
    "secrets": {
        "person_password/1": _("password set by the lead"),
        "own_password/1": _("own password chosen"),
        "pin/1": _("PIN set"),
        "let_try_again/1": _("lock-out lifted"),
        "let_address_try_again/1": _("lock-out of an address lifted"),
    },
    "sessions": {
        "session_ended/1": _("session ended"),
        "sessions_ended/1": _("sessions ended"),
    },
    "factor": {
        "second_factor/1": _("second factor set"),
        "second_factor_removed/1": _("second factor taken away"),
        "second_factor_reset/1": _("second factor reset"),
        "recovery_codes/1": _("new recovery codes"),
        "recovery_code/1": _("recovery code used"),
    },
    "tablets": {
        "tablet/1": _("tablet enrolled"),
        "tablet_revoked/1": _("tablet revoked"),
        "prove/1": _("PIN proven for a shift"),
        "device/1": _("device given a token"),
        "device_withdrawn/1": _("token of a device ended"),
    },
    "shop": {"shop/1": _("settings of the shop")},
}
SIGNED_IN = _("signed in")
WRONG = {
    "password": _("wrong password"),
    "code": _("wrong code"),
    "token": _("wrong token of a device"),
}
WRONG_PIN = _("wrong PIN")
REFUSED = _("refused: too many wrong ones")
NOBODY = _("a name that nobody has")
TERMINAL = _("the server's terminal")


def forms_of(kind: str) -> list[str]:
    """The forms of acts of a kind, of all kinds where it is ""."""
    kinds = [kind] if kind else FORMS
    return [form for kind in kinds for form in FORMS.get(kind, ())]


def word_of(form: str) -> str:
    return next(str(words[form]) for words in FORMS.values() if form in words)


def details_of(form: str, content: dict, result: dict) -> str:
    """What else an act says: "builder → engineer", a browser, a reason."""
    if form == "person_role/1":
        return f"{result.get('before', '?')} → {content.get('role', '?')}"
    if form == "person_active/1":
        return str(_("yes") if content.get("active") else _("no"))
    if form == "shop/1":
        wanted = content.get("second_factor")
        return str(_("second factor wanted") if wanted else _("no second factor"))
    shown = ("role", "browser", "address", "reason", "name")
    return ", ".join(str(content[name]) for name in shown if content.get(name))
