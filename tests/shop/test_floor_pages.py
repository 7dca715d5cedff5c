"""Pages of the shop floor: they open, refuse beside the field, and count statements."""

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from shop.actions import machines, pulls, routes, suspects, tooling
from shop.ledger.verify import verify
from shop.models import (
    CureTrace,
    Laminate,
    Lot,
    Part,
    PlyLaid,
    Pull,
    ReleaseCoat,
    StepDone,
    Tool,
    ToolStep,
    Weighing,
)
from tests.around import by_hand

from .making import make_design, make_placement
from .making_floor import (
    ago,
    lay_all,
    make_coat,
    make_demolded,
    make_laminate,
    make_lot,
    make_material,
    make_mold,
    make_product,
    make_pull,
    make_pulled_part,
    make_tool,
    mix,
    mm,
)


@pytest.fixture
def lead(people):
    return people["lead"]


@pytest.fixture
def shop(lead):
    """One thing of every kind, linked from plug to airframe: rows by their kind."""
    routes.write_usual_routes(by=lead)
    plug = make_tool(lead, kind="plug", made_at=ago(days=60))
    machine = machines.define_machine(by=lead, name="Gantry", play_limit=mm("0.05"))
    machines.measure_play(
        by=lead,
        machine=machine,
        axis="y",
        play=mm("0.1"),
        measured_on=ago(days=50).date(),
    )
    setup = machines.record_milling(
        by=lead,
        tool=plug,
        machine=machine,
        milled_on=ago(days=45).date(),
        radius=mm("3"),
        stepover=mm("0.5"),
        sanding=mm("0.1"),
    )
    step = routes.do_step(by=lead, step=plug.steps.first(), done_at=ago(days=44))
    mold = make_tool(lead, plug=plug)
    make_coat(lead, mold, applied_at=ago(days=3), lot=make_lot(lead, kind="release"))
    mold.refresh_from_db()
    pull = make_demolded(lead, tool=mold)
    defect = tooling.note_defect(
        by=lead, tool=mold, what="pit", place="flange", first_pull=pull
    )
    part = make_pulled_part(lead, pull=pull)
    placement = make_placement(lead, part=part)
    return {
        "plug": plug,
        "tool": mold,
        "machine": machine,
        "milling": setup,
        "step": step,
        "pull": pull,
        "part": part,
        "airframe": placement.airframe,
        "position": placement.position,
        "lot": PlyLaid.objects.first().lot,
        "laminate": Laminate.objects.get(),
        "design": part.design,
        "defect": defect,
        "todo": mold.steps.first(),
    }


LOOKS = (
    "tooling",
    "routes",
    "release_products",
    "machines",
    "pulls",
    "lots",
    "materials",
    "laminates",
    "recipes",
    "to_weigh",
)
LOOKS_AT = (
    ("tool", "tool"),
    ("tool", "plug"),
    ("step_done", "step"),
    ("machine", "machine"),
    ("milling", "milling"),
    ("pull", "pull"),
    ("lot", "lot"),
    ("laminate", "laminate"),
    ("part", "part"),
    ("airframe", "airframe"),
    ("balance", "airframe"),
)
LEADS = (
    "add_tool",
    "add_release_product",
    "add_machine",
    "receive_lot",
    "add_material",
    "add_laminate",
    "add_recipe",
)
LEADS_AT = (
    ("change_tool", "tool"),
    ("act_on_tool", "tool"),
    ("note_defect", "tool"),
    ("repair_defect", "defect"),
    ("add_step", "tool"),
    ("do_step", "todo"),
    ("apply_coat", "tool"),
    ("take_back_step", "step"),
    ("change_machine", "machine"),
    ("measure_play", "machine"),
    ("record_milling", "plug"),
    ("start_pull", "tool"),
    ("lay_plies", "pull"),
    ("lay_other_ply", "pull"),
    ("mix_resin", "pull"),
    ("test_bag", "pull"),
    ("close_layup", "pull"),
    ("record_trace", "pull"),
    ("note_work", "pull"),
    ("demold", "pull"),
    ("void_pull", "pull"),
    ("yield_part", "pull"),
    ("act_on_lot", "lot"),
    ("file_papers", "lot"),
    ("revise_laminate", "laminate"),
    ("weigh_part", "part"),
    ("weigh_airframe", "airframe"),
    ("set_arm", "position"),
)


def test_every_page_opens_for_who_may_and_not_for_a_visitor(shop, client_of):
    lead, visitor = client_of("lead"), client_of("visitor")
    looks = [reverse(name) for name in LOOKS]
    looks += [reverse(name, args=[shop[kind].pk]) for name, kind in LOOKS_AT]
    for url in looks:
        assert visitor.get(url).status_code == 200, url
    forms = [reverse(name) for name in LEADS]
    forms += [reverse(name, args=[shop[kind].pk]) for name, kind in LEADS_AT]
    forms.append(reverse("set_route", args=["mold"]))
    forms.append(reverse("add_photo", args=["tool", shop["tool"].pk]))
    for url in forms:
        assert lead.get(url).status_code == 200, url
        assert visitor.get(url).status_code == 403, url
        assert visitor.post(url).status_code == 403, url


def test_a_form_sent_empty_changes_nothing_and_says_so(shop, client_of):
    lead = client_of("lead")
    optional = {"close_layup", "set_arm", "demold", "do_step", "start_pull"}
    for name in LEADS:
        assert lead.post(reverse(name)).context["form"].errors, name
    for name, kind in LEADS_AT:
        if name not in optional:
            page = lead.post(reverse(name, args=[shop[kind].pk]))
            assert page.context["form"].errors, name


def statements(client, url):
    with CaptureQueriesContext(connection) as seen:
        assert client.get(url).status_code == 200
    return len(seen)


@pytest.mark.either_database
@pytest.mark.parametrize(
    ("name", "make"),
    [
        ("tooling", make_tool),
        ("pulls", make_pull),
        ("lots", make_lot),
        ("materials", make_lot),
        ("laminates", make_laminate),
        ("to_weigh", make_placement),
    ],
)
def test_a_list_takes_the_same_statements_with_1_and_30_rows(
    lead, client_of, name, make
):
    client = client_of("builder")
    make(lead)
    before = statements(client, reverse(name))
    for _ in range(29):
        make(lead)
    assert statements(client, reverse(name)) == before


def test_machines_take_the_same_statements_with_1_and_12(lead, client_of):
    client = client_of("builder")

    def one_more(n):
        machine = machines.define_machine(by=lead, name=f"Mill {n}")
        machines.record_milling(
            by=lead,
            tool=make_tool(lead, kind="plug"),
            machine=machine,
            milled_on=ago(days=1).date(),
            radius=mm("3"),
            stepover=mm("0.5"),
        )

    one_more(0)
    before = statements(client, reverse("machines"))
    for n in range(1, 12):
        one_more(n)
    assert statements(client, reverse("machines")) == before


# ------------------------------------------------------------- the refused ways


def post_then_reason(client, url, said, reason="the shop is cold"):
    """Send; expect the warning with a field for the reason; send again with it."""
    page = client.post(url, said)
    form = page.context["form"]
    assert list(form.errors) == ["reason"]
    assert not form["reason"].is_hidden
    assert client.post(url, {**said, "reason": reason}).status_code == 302


def test_a_coat_and_a_step_taken_back_stay_readable_with_their_reason(lead, client_of):
    mold = make_mold(lead)
    coat = ReleaseCoat.objects.latest("pk")
    with by_hand():
        step = ToolStep.objects.create(tool=mold, order=1, name="sand")
    done = routes.do_step(by=lead, step=step)
    client = client_of("builder")
    for name, row in (("take_back_coat", coat), ("take_back_step", done)):
        url = reverse(name, args=[row.pk])
        page = client.post(url, {"reason": ""})
        assert list(page.context["form"].errors) == ["reason"]
        assert client.post(url, {"reason": f"wrong {name}"}).status_code == 302
        page = client.post(url, {"reason": "twice"})
        assert "taken back already" in page.text
        tool_page = client.get(reverse("tool", args=[mold.pk])).text
        assert f"wrong {name}" in tool_page
        assert url not in tool_page
    assert (
        "wrong take_back_step" in client.get(reverse("step_done", args=[done.pk])).text
    )


def test_every_field_of_a_tool_stands_in_one_group(lead, client_of):
    client = client_of("lead")
    tool = make_tool(lead)
    for url in (reverse("add_tool"), reverse("change_tool", args=[tool.pk])):
        form = client.get(url).context["form"]
        grouped = [field.name for _legend, fields in form.groups for field in fields]
        assert sorted(grouped) == sorted(form.fields)


def test_a_coat_too_early_comes_back_with_a_warning_and_a_field(lead, client_of):
    product = make_product(lead, minutes_between=60)
    mold = make_tool(lead)
    make_coat(lead, mold, product=product, applied_at=ago(minutes=20))
    url = reverse("apply_coat", args=[mold.pk])
    post_then_reason(client_of("builder"), url, {"product": product.pk})
    coat = ReleaseCoat.objects.latest("pk")
    assert (coat.number, coat.reason) == (2, "the shop is cold")


def test_a_layup_without_laminate_is_refused_beside_the_field(lead, client_of):
    mold = make_mold(lead)
    page = client_of("builder").post(reverse("start_pull", args=[mold.pk]), {"x": 1})
    assert list(page.context["form"].errors) == ["laminate"]


def test_a_mold_on_hold_says_why_it_gives_no_pull(lead, client_of):
    mold = make_mold(lead)
    suspects.put_on_hold(by=lead, kind="tool", key=mold.pk, reason="flange cracked")
    said = {"laminate": make_laminate(lead).pk, "reason": "hurry"}
    page = client_of("builder").post(reverse("start_pull", args=[mold.pk]), said)
    assert "flange cracked" in page.text
    assert not Pull.objects.exists()


def test_an_expired_lot_comes_back_with_a_warning_and_a_field(lead, client_of):
    pull = make_pull(lead)
    ply = pull.laminate.plies.first()
    lot = make_lot(lead, material=ply.material, expires_on=ago(days=3).date())
    said = {"plies": [ply.pk], f"lot_{ply.material_id}": lot.pk}
    post_then_reason(client_of("builder"), reverse("lay_plies", args=[pull.pk]), said)
    assert PlyLaid.objects.get().reason == "the shop is cold"


def test_a_weight_outside_what_is_expected_asks_for_a_reason(lead, client_of):
    design = make_design(lead)
    pull = make_demolded(lead, laminate=make_laminate(lead, design=design))
    part = make_pulled_part(lead, pull=pull, design=design)
    said = {
        "stage": "trimmed",
        "mass": "9 kg",
        "scale": "bench scale",
        "weighed_on": timezone.localdate().isoformat(),
    }
    url = reverse("weigh_part", args=[part.pk])
    post_then_reason(client_of("builder"), url, said)
    part.refresh_from_db()
    assert (part.mass_mg, part.mass_is_estimate) == (9_000_000, False)
    assert Weighing.objects.get().expected_mg > 0


# -------------------------------------------------------- from plug to airframe


TRACE = "minutes,tc1_c,tc2_c\n" + "".join(
    f"{minute},{t:.1f},{t - 1:.1f}\n"
    for minute, t in [
        (m, 20 + min(m, 40)) if m <= 140 else (m, 60 - (m - 140) * 0.5)
        for m in range(0, 200, 2)
    ]
)


def test_the_whole_way_through_the_pages(lead, client_of):
    client = client_of("lead")

    def post(page_name, *key, **said):
        page = client.post(reverse(page_name, args=key), said)
        assert page.status_code == 302, page.context["form"].errors
        return page

    day = timezone.localdate()
    post("add_tool", kind="plug", code="PLUG-1", name="Door plug", hand="left")
    plug = Tool.objects.get(code="PLUG-1")
    post(
        "add_tool",
        kind="mold",
        code="M-1",
        name="Door mold",
        hand="left",
        plug=plug.code,
    )
    mold = Tool.objects.get(code="M-1")
    post("add_step", plug.pk, name="seal", order=1)
    post("do_step", plug.steps.get().pk, note="two coats")
    assert StepDone.objects.get().entry.by == lead
    product = make_product(lead, minutes_before_layup=0)
    post("apply_coat", mold.pk, product=product.pk)
    laminate = make_laminate(lead)
    post("start_pull", mold.pk, laminate=laminate.pk, temperature="21.5", humidity="48")
    pull = Pull.objects.get()
    assert (pull.temperature, pull.humidity) == (21_500, 4800)
    plies = list(laminate.plies.all())
    lot = make_lot(lead, material=plies[0].material)
    lots = {f"lot_{plies[0].material_id}": lot.pk}
    post("lay_plies", pull.pk, plies=[ply.pk for ply in plies], **lots)
    post(
        "mix_resin",
        pull.pk,
        resin_lot=make_lot(lead, material=laminate.resin).pk,
        hardener_lot=make_lot(lead, kind="hardener").pk,
        resin="0.3 kg",
        hardener="90",
    )
    post("test_bag", pull.pk, level="95", after="90", minutes="5")
    post("note_work", pull.pk, minutes="95", what="lay-up")
    post("close_layup", pull.pk)
    file = SimpleUploadedFile("oven.csv", TRACE.encode())
    page = client.post(reverse("record_trace", args=[pull.pk]), {"file": file})
    assert page.status_code == 302
    trace = CureTrace.objects.get()
    assert trace.met, trace.complaints
    assert client.get(reverse("trace", args=[trace.pk])).status_code == 200
    post("demold", pull.pk, release="clean", reason="oven cure")
    design = make_design(lead)
    post("yield_part", pull.pk, design=design.pk, serial="D-1")
    part = Part.objects.get(serial="D-1")
    post(
        "weigh_part",
        part.pk,
        stage="untrimmed",
        mass="1.2 lb",
        scale="bench",
        weighed_on=day.isoformat(),
    )
    # 1.2 lb = 1.2 x 453.59237 g, in whole milligrams.
    assert Weighing.objects.get().mass_mg == 544_311
    placement = make_placement(lead, part=part)
    assert placement.part.state == "good"


def test_a_trace_that_is_no_trace_says_line_and_column(lead, client_of):
    pull = make_pull(lead)
    file = SimpleUploadedFile("oven.csv", b"minutes,tc1_c\n0,20\n1,warm\n")
    page = client_of("builder").post(
        reverse("record_trace", args=[pull.pk]), {"file": file}
    )
    assert "oven.csv:3" in page.context["form"].errors["file"][0]


def test_a_trace_below_its_dwell_does_not_meet_the_recipe(lead, client_of):
    pull = make_pull(lead)
    lay_all(lead, pull)
    mix(lead, pull)
    pulls.close_layup(by=lead, pull=pull)
    rows = "".join(f"{m},{20 + m * 0.1:.1f}\n" for m in range(0, 200, 2))
    file = SimpleUploadedFile("cold.csv", f"minutes,tc1_c\n{rows}".encode())
    client = client_of("builder")
    client.post(reverse("record_trace", args=[pull.pk]), {"file": file})
    pull.refresh_from_db()
    assert pull.cure == "not_met"
    page = client.post(reverse("demold", args=[pull.pk]), {"release": "clean"})
    assert "did not meet" in page.context["form"].errors["reason"][0]


def test_the_papers_of_a_lot_are_kept_when_it_comes_and_when_they_come_later(
    people, client_of
):
    lead = client_of("lead")
    material = make_material(people["lead"])
    said = {"material": material.pk, "number": "7731", "received_on": "2026-11-02"}
    said |= {"supplier": "Cloth merchant", "certificate": "CoC 7731-A"}
    assert lead.post(reverse("receive_lot"), said).status_code == 302
    lot = Lot.objects.get(number="7731")
    page = lead.get(reverse("lot", args=[lot.pk])).content.decode()
    assert "Cloth merchant" in page and "CoC 7731-A" in page
    assert "7731" in lead.get(reverse("lots"), {"q": "merchant"}).content.decode()
    late = make_lot(people["lead"], material=material)
    page = lead.get(reverse("lot", args=[late.pk])).content.decode()
    assert page.count("not on record") == 2
    at = reverse("file_papers", args=[late.pk])
    papers = {"supplier": "  Weaver ", "certificate": "CoC 12"}
    assert lead.post(at, papers).status_code == 302
    late.refresh_from_db()
    assert (late.supplier, late.certificate) == ("Weaver", "CoC 12")
    page = lead.get(reverse("lot", args=[late.pk])).content.decode()
    assert "papers filed" in page and "Weaver, CoC 12" in page
    same = lead.post(at, papers)
    assert "on record already" in same.content.decode()
    assert 'value="Weaver"' in lead.get(at).content.decode()
    # Another, whose form was opened before, takes nothing of that off.
    stale = lead.post(at, {"supplier": "Dyer", "certificate": ""})
    told = stale.content.decode()
    assert "filed meanwhile: Weaver, CoC 12" in told and 'value="Dyer"' in told
    late.refresh_from_db()
    assert (late.supplier, late.certificate) == ("Weaver", "CoC 12")
    # Filed on the wrong lot: taken off, with what the form showed.
    shown = lead.get(at).context["form"].initial
    off = {**shown, "supplier": "", "certificate": ""}
    assert lead.post(at, off).status_code == 302
    late.refresh_from_db()
    assert (late.supplier, late.certificate) == ("", "")
    page = lead.get(reverse("lot", args=[late.pk])).content.decode()
    assert "taken off" in page and page.count("not on record") == 2
    none = lead.post(at, {"supplier": "", "certificate": " "})
    assert "Say the supplier or the certificate" in none.content.decode()
    assert verify().fault == ""
