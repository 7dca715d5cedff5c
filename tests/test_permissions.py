"""Who may open what: every url of the site, as every role, and signed out; and what
goes with every answer: nothing kept, nothing run, nowhere else to go.

WHO is the contract, by url name. A url that is not in it fails the test, so that a new
page cannot be forgotten. Each url is asked for as a browser first does (GET, or POST or
PUT where it takes nothing else), with the demo's rows to fill it.
"""

import hashlib
import json
import uuid
from urllib.parse import urlsplit

import pytest
from django.conf import settings
from django.db import connection, transaction
from django.test import Client
from django.urls import get_resolver, reverse

from qa.models import Check, GaugeStudy
from shop.models import Device, Person, Role, Tablet

OPEN = "everybody, signed in or not"
TABLET = "an enrolled tablet, or a device with its token"
EVERYBODY = frozenset(Role.values)
CREW = EVERYBODY - {Role.VISITOR}
MAKERS = CREW - {Role.INSPECTOR}
DECIDERS = CREW - {Role.BUILDER}
LEAD_AND_ENGINEER = frozenset({Role.LEAD, Role.ENGINEER})
LEAD = frozenset({Role.LEAD})
ENGINEER = frozenset({Role.ENGINEER})
INSPECTOR = frozenset({Role.INSPECTOR})

WHO = {
    OPEN: """
        health trust trust_certificate sign_in api_session service_worker
        tablet_manifest tablet_file tablet due_calendar
    """,
    EVERYBODY: """
        sign_out own_password theme units sessions end_session end_sessions
        sign_in_code second_factor recovery_codes remove_second_factor
        airframes airframe airframe_type designs design
        parts part tooling tool step_done routes release_products machines
        machine milling pulls pull trace lots lot materials laminates laminate
        recipes to_weigh balance photo holds hold labels scan front today api_act
        api_acts api_have api_check api_next api_study api_carry check_plan
        plan_work_order
        plan_template plan_record plan_together plans_together plan_shims shim_stock
        joint_on_airframe hole_patterns hole_pattern hole_pattern_dxf
        hole_pattern_revision hole_check joints joint blank_sheet joint_revision
        joint_csv joint_dxf checks check check_pdf nonconformances nonconformances_pdf
        nonconformance defect_kinds
        offers offer offered_joint most_often repeats
        instruments chain chain_pdf chain_csv
        pairs sides joint_pair holding settings_came search read_changes
        claims api_claims instrument gauge_studies gauge_study
        gauge_study_paper mold_fits
        sampling check_risk
        correction correction_sheet correction_template
        over_parts over_parts_place over_parts_mode signatures
        chart_paper_place chart_paper_mode pre_trim
        ledger_head
        characteristics characteristic characteristic_on_airframe
        characteristic_result close_out_airframe close_out_bay close_out_joint
        close_out_airframe_pdf close_out_bay_pdf close_out_joint_pdf
        temporary_items temporary_item must_come_off must_come_off_pdf temporary_holes
        packs pack pack_pdf pack_signature pack_signed_inside
        pack_page read_pack ply_book traveler mold_card weight_and_balance
        devices new_calendar about_api api_description
    """,
    CREW: """
        sign chart_note_place chart_note_mode
        measure_study read_again
        api_photo do_step take_back_step weigh_part weigh_airframe add_photo
        new_hole_check new_check late_readings
        remark_on_pack raise_findings raise_holes raise_result raise_by_hand
        nonconformance_act own_pin
        put_in temporary_act
    """,
    MAKERS: """
        place_part remove_part add_part act_on_tool note_defect repair_defect
        apply_coat take_back_coat measure_play record_milling start_pull lay_plies
        lay_other_ply mix_resin test_bag close_layup record_trace note_work
        demold void_pull yield_part receive_lot act_on_lot file_papers record_trim
        record_move set_part new_shim shim take_plan take_together withdraw_plan
        correction_done correction_on_plug
        take_pre_trim new_offer
    """,
    DECIDERS: """
        put_on_hold lift_hold decide new_pack take_pack
    """,
    LEAD_AND_ENGINEER: """
        state_holding
        add_airframe add_airframe_type add_position change_position add_design
        change_design scrap_part add_material material add_laminate
        revise_laminate add_recipe set_arm new_hole_pattern revise_hole_pattern
        plan_defaults new_joint revise_joint new_instrument change_instrument
        calibrate gauge_budget gauge_rules new_gauge_study use_study take_correction
        withdraw_correction
        defect_kind new_defect_kind usual_defects together
        new_characteristic revise_characteristic leave_empty
    """,
    LEAD: """
        reset_second_factor person_sessions end_person_session end_person_sessions
        let_address_in audit
        people add_person change_role set_certificate set_active reset_password
        try_again add_tool change_tool add_step set_route add_release_product
        release_product add_machine change_machine api_enroll api_recover tablets
        recover_tablet revoke_tablet shop_identity backups plan_backups
        back_up_now server health_details new_device withdraw_device
    """,
    ENGINEER: """
        release_cut withdraw_release
    """,
    INSPECTOR: """
        second_reading
    """,
    TABLET: """
        api_prove
        script_airframes script_airframe script_parts script_part script_tools
        script_tool script_pulls script_joint_list script_joint script_standing
        script_fit_ups script_check_list script_check script_readings
        script_instruments script_instrument script_items script_item
        script_start_check script_read script_finish script_raise_item script_remark
        script_calibrate script_unknown
    """,
}

# What ends the session that asks, or another of the same person.
ENDS = {"sign_out", "end_person_sessions"}

# The verbs of one url that different roles may do.
VERBS = {
    "contain": CREW,
    "dispose": LEAD_AND_ENGINEER,
    "work": MAKERS,
    "verify": DECIDERS,
    "close": DECIDERS,
    "explain": DECIDERS,
    "assign": DECIDERS,
    "reopen": DECIDERS,
    "remark": CREW,
}


def named_urls(patterns=None) -> dict[str, list[str]]:
    """Every url name with the names of its arguments."""
    found = {}
    for pattern in patterns or get_resolver().url_patterns:
        if hasattr(pattern, "url_patterns"):
            found |= named_urls(pattern.url_patterns)
        elif pattern.name:
            found.setdefault(pattern.name, list(pattern.pattern.converters))
    return found


def contract() -> dict:
    return {name: who for who, names in WHO.items() for name in names.split()}


def test_every_url_says_who_may_open_it():
    assert set(named_urls()) == set(contract())


def addresses() -> dict[str, str]:
    """One address for every url, filled from the demo."""
    check = str(Check.objects.order_by("number")[0].entry_id)
    tablet = Tablet.objects.get()
    fill = {
        **dict.fromkeys(("check", "uuid"), check),
        **dict.fromkeys(("act", "photo"), str(uuid.uuid4())),
        "verb": "remark",
        "kind": "part",
        "code": "P1",
        "sha256": PHOTO,
        "digest": "0" * 16,
        "name": "entry.js",
        "handle": "0" * 16,
        "revoke_tablet.pk": str(tablet.pk),
        "withdraw_device.pk": str(Device.objects.filter(person__role="lead")[0].pk),
        "set_route.kind": "plug",
        "api_study.uuid": str(GaugeStudy.objects.latest("pk").entry_id),
        "sign.kind": "ply",
    }
    return {
        name: reverse(
            name,
            kwargs={key: fill.get(f"{name}.{key}", fill.get(key, 1)) for key in keys},
        )
        for name, keys in named_urls().items()
    }


SCRIPT = b"<script>alert(1)</script>"  # a photo that is none
PHOTO = hashlib.sha256(SCRIPT).hexdigest()
ELSEWHERE = "https://elsewhere.example/"


def ask(client: Client, address: str):
    """The answer to what a browser would send first; whatever it did is taken back."""
    address += f"{'&' if '?' in address else '?'}next={ELSEWHERE}"
    if "/api/photos/" in address and hasattr(client, "person"):
        address += f"&by={client.person.username}"
    with transaction.atomic():
        answer = client.get(address)
        for method in (client.post, client.put):
            if answer.status_code == 405:
                answer = method(address, "{}", content_type="application/json")
        if answer.streaming:  # as a browser reads it: to its end, so that it is closed
            b"".join(answer.streaming_content)
        transaction.set_rollback(True)
    if answer.streaming:
        answer.getvalue()  # which closes the file
    return answer


def signed_in(role: str) -> Client:
    client = Client(raise_request_exception=False)
    client.person = Person.objects.filter(role=role).order_by("pk")[0]
    client.force_login(client.person)
    return client


def fault(name: str, who, role: str, status: int) -> str:
    """What is wrong with an answer to a role, "" when nothing is."""
    if status >= 500:
        return f"{name} breaks for {role}: {status}"
    allowed = who == OPEN or (who != TABLET and role in who)
    refused = status in (401, 403)
    if who == TABLET:
        return "" if status == 401 else f"{name} lets {role} in without a tablet"
    if allowed == refused:
        word = "refuses" if refused else "lets in"
        return f"{name} {word} {role}: {status}"
    return ""


# What pages show and run; everything else is a file.
PAGES = ("text/html", "application/json")
SHOWN = ("application/manifest+json", "text/javascript", "text/plain")
# Served as files by these at least, in the demo.
FILES = """
    blank_sheet chain_csv chain_pdf check_pdf joint_csv joint_dxf ledger_head
    nonconformances_pdf pack_pdf photo ply_book
"""


# Those of them that a table program opens: tests/test_formulas.py fills each with what
# would run.
TABLES = {"chain_csv", "joint_csv"}


def unprotected(name: str, who, answer) -> list[str]:
    """What an answer lacks: kept by no browser that others use, run by none, as it is
    called, and leading nowhere but to this site."""
    kind = answer.headers.get("Content-Type", "").partition(";")[0]
    policy = answer.headers.get("Content-Security-Policy", "")
    kept = answer.headers.get("Cache-Control", "")
    how, _, called = answer.headers.get("Content-Disposition", "").partition(";")
    leads = urlsplit(answer.headers.get("Location", "/"))
    lacks = {
        "is kept": who != OPEN and not kept.startswith("private") and "no-" not in kept,
        "is sniffed": answer.headers.get("X-Content-Type-Options") != "nosniff",
        "is framed": "frame-ancestors 'none'" not in policy,
        "runs": "default-src 'none'" not in policy or "unsafe" in policy,
        "leads away": leads.netloc not in ("", "testserver")
        or leads.scheme == "javascript",
    }
    if answer.status_code == 200 and kind and kind not in PAGES + SHOWN:
        in_place = ("application/pdf", "image/jpeg")
        lacks["is no download"] = how != "attachment" and kind not in in_place
        lacks["has no name"] = "filename" not in called
        lacks["runs as a page"] = kind != "application/pdf" and "sandbox" not in policy
    return [
        f"{name} {fault}: {answer.headers}" for fault, is_so in lacks.items() if is_so
    ]


def is_served_file(answer) -> bool:
    kind = answer.headers.get("Content-Type", "").partition(";")[0]
    return answer.status_code == 200 and bool(kind) and kind not in PAGES + SHOWN


def is_table(answer) -> bool:
    kind = answer.headers["Content-Type"]
    return "csv" in kind or "spreadsheet" in kind


def test_no_url_answers_to_the_name_of_another_site(db):
    """Whoever turns a name of their own towards this machine finds nothing here."""
    client = Client(raise_request_exception=False)
    for host in ("elsewhere.example", "testserver.elsewhere.example", "a b", ""):
        answer = client.get("/sign-in/", headers={"host": host})
        assert answer.status_code == 400, host
        assert "Location" not in answer.headers
    for host in ("192.0.2.9:8000", "[2001:db8::1]:8000", "localhost", "testserver"):
        assert client.get("/health", headers={"host": host}).status_code == 200, host


def asking(who) -> list[str]:
    """The roles that ask for a url. Another database changes whether a page answers,
    not who may: there one who may and one who may not are enough."""
    if connection.vendor == "sqlite":
        return Role.values
    may = [role for role in Role.values if who in (OPEN, TABLET) or role in who]
    return [*may[:1], *[role for role in Role.values if role not in may][:1]]


@pytest.mark.slow
def test_every_url_as_every_role_and_signed_out(demo_db):
    photo = settings.MEDIA_ROOT / PHOTO[:2] / f"{PHOTO}.jpg"
    photo.parent.mkdir(parents=True, exist_ok=True)
    photo.write_bytes(SCRIPT)
    people = {role: signed_in(role) for role in Role.values}
    faults, files, tables = [], set(), set()
    for name, address in addresses().items():
        who = contract()[name]
        for role in asking(who):
            client = signed_in(role) if name in ENDS else people[role]
            answer = ask(client, address)
            faults.append(fault(name, who, role, answer.status_code))
            faults += unprotected(name, who, answer)
            if is_served_file(answer):
                files.add(name)
                if is_table(answer):
                    tables.add(name)
        answer = ask(Client(), address)
        faults += [signed_out(name, who, answer), *unprotected(name, who, answer)]
    faults += verbs(people)
    assert [one for one in faults if one] == []
    assert set(FILES.split()) - files == set()
    assert tables == TABLES


def signed_out(name: str, who, answer) -> str:
    """Only what is open opens; the rest asks to sign in, the api in JSON."""
    if who == OPEN:
        return "" if answer.status_code in (200, 404) else f"{name} is not open"
    if name.startswith(("api_", "script_")):
        held = answer.status_code == 401 and json.loads(answer.content)["error"]
        return "" if held else f"{name} signed out: {answer.status_code}"
    if name == "scan" and answer.status_code == 302:
        return ""
    asks = answer.status_code == 302 and answer.url.startswith("/sign-in/")
    return "" if asks else f"{name} signed out: {answer.status_code}"


def verbs(people: dict[str, Client]) -> list[str]:
    faults = []
    for verb, who in VERBS.items():
        address = reverse("nonconformance_act", kwargs={"pk": 1, "verb": verb})
        for role, client in people.items():
            faults.append(fault(verb, who, role, ask(client, address).status_code))
    return faults
