"""What qa shows and takes."""

from django.urls import include, path

from qa.views import (
    checks,
    claims,
    defects,
    gauge_studies,
    home,
    instruments,
    joints,
    mapping,
    molds,
    nonconformances,
    offers,
    over_parts,
    packs,
    reviewing,
    sampling,
    together,
)
from shop.views import airframes, parts, tooling

over_parts_urls = [
    path(
        "<int:pk>/over-parts/at/<path:label>/<slug:kind>/note/",
        over_parts.chart_note,
        name="chart_note_place",
    ),
    path(
        "<int:pk>/over-parts/at/<path:label>/<slug:kind>/charts.pdf",
        over_parts.chart_paper,
        name="chart_paper_place",
    ),
    path(
        "<int:pk>/over-parts/whole/<slug:mode>/note/",
        over_parts.chart_note,
        name="chart_note_mode",
    ),
    path(
        "<int:pk>/over-parts/whole/<slug:mode>/charts.pdf",
        over_parts.chart_paper,
        name="chart_paper_mode",
    ),
]

joint_urls = [
    path("", joints.joints, name="joints"),
    path("new/", mapping.new_joint, name="new_joint"),
    path("<int:pk>/", joints.joint, name="joint"),
    path("<int:pk>/revise/", mapping.revise_joint, name="revise_joint"),
    path("<int:pk>/over-parts/", over_parts.over_parts, name="over_parts"),
    *over_parts_urls,
    path(
        "<int:pk>/over-parts/at/<path:label>/<slug:kind>/",
        over_parts.place,
        name="over_parts_place",
    ),
    path(
        "<int:pk>/over-parts/whole/<slug:mode>/",
        over_parts.mode,
        name="over_parts_mode",
    ),
    path("<int:pk>/blank-sheet.pdf", joints.blank_sheet, name="blank_sheet"),
    path("<int:pk>/revision/<int:number>/", joints.joint, name="joint_revision"),
    path(
        "<int:pk>/revision/<int:number>/stations.csv",
        joints.joint_csv,
        name="joint_csv",
    ),
    path(
        "<int:pk>/revision/<int:number>/stations.dxf",
        joints.joint_dxf,
        name="joint_dxf",
    ),
]

check_urls = [
    path("", checks.checks, name="checks"),
    path("new/", checks.new_check, name="new_check"),
    path("<uuid:uuid>/", checks.check, name="check"),
    path("<uuid:uuid>/sheet.pdf", checks.check_pdf, name="check_pdf"),
    path("<uuid:uuid>/risk/", sampling.check_risk, name="check_risk"),
    path("<uuid:uuid>/late/", claims.late_readings, name="late_readings"),
    path("<uuid:uuid>/raise/", home.raise_findings, name="raise_findings"),
]

nonconformance_urls = [
    path("", nonconformances.nonconformances, name="nonconformances"),
    path("list.pdf", nonconformances.nonconformances_pdf, name="nonconformances_pdf"),
    path("new/", nonconformances.raise_by_hand, name="raise_by_hand"),
    path("most-often/", reviewing.most_often, name="most_often"),
    path("repeats/", reviewing.repeats, name="repeats"),
    path("together/", reviewing.together, name="together"),
    path("kinds/", defects.kinds, name="defect_kinds"),
    path("kinds/new/", defects.edit_kind, name="new_defect_kind"),
    path("kinds/usual/", defects.add_usual, name="usual_defects"),
    path("kinds/<int:pk>/", defects.edit_kind, name="defect_kind"),
    path("<int:pk>/", nonconformances.nonconformance, name="nonconformance"),
    path("<int:pk>/<str:verb>/", nonconformances.act, name="nonconformance_act"),
]

offer_urls = [
    path("", offers.offers, name="offers"),
    path("new/", offers.new_offer, name="new_offer"),
    path("<int:number>/", offers.offer, name="offer"),
    path("<int:number>/<int:order>/", offers.offered_joint, name="offered_joint"),
    path(
        "<int:number>/<int:order>/second/",
        offers.second_reading,
        name="second_reading",
    ),
]

pack_urls = [
    path("", packs.packs, name="packs"),
    path("new/", packs.new_pack, name="new_pack"),
    path("<int:number>/", packs.pack, name="pack"),
    path("<int:number>/pack.pdf", packs.pack_pdf, name="pack_pdf"),
    path("<int:number>/pack.pdf.p7s", packs.pack_signature, name="pack_signature"),
    path(
        "<int:number>/signed-inside.pdf",
        packs.pack_signed_inside,
        name="pack_signed_inside",
    ),
    path("<int:number>/read/", packs.read_pack, name="read_pack"),
    path("<int:number>/remark/", packs.remark_on_pack, name="remark_on_pack"),
    path("<int:number>/take/", packs.take_pack, name="take_pack"),
    path("<int:number>/is/<str:digest>/", packs.pack_page, name="pack_page"),
]

study_urls = [
    path("", gauge_studies.gauge_studies, name="gauge_studies"),
    path("new/", gauge_studies.new_gauge_study, name="new_gauge_study"),
    path("<int:number>/", gauge_studies.gauge_study, name="gauge_study"),
    path(
        "<int:number>/study.pdf",
        gauge_studies.gauge_study_paper,
        name="gauge_study_paper",
    ),
    path("<int:number>/use/", gauge_studies.use_study, name="use_study"),
    path(
        "<int:number>/by/<int:person>/",
        gauge_studies.measure_study,
        name="measure_study",
    ),
    path(
        "<int:number>/by/<int:person>/again/",
        gauge_studies.read_again,
        name="read_again",
    ),
]

instrument_urls = [
    path("", instruments.instrument_list, name="instruments"),
    path("new/", instruments.edit_instrument, name="new_instrument"),
    path("rules/", instruments.gauge_rules, name="gauge_rules"),
    path("<int:pk>/", instruments.instrument, name="instrument"),
    path("<int:pk>/change/", instruments.edit_instrument, name="change_instrument"),
    path("<int:pk>/calibrated/", instruments.calibrate, name="calibrate"),
    path("<int:pk>/budget/", instruments.edit_budget, name="gauge_budget"),
]

urlpatterns = [
    path("", home.front, name="front"),
    path("", home.front, name="today"),
    path("claims/", claims.claims, name="claims"),
    path("", include("qa.urls_scripts")),
    path("", include("qa.urls_plan")),
    path("joints/", include(joint_urls)),
    path("fit-checks/", include(check_urls)),
    path("nonconformances/", include(nonconformance_urls)),
    path("offers/", include(offer_urls)),
    path("packs/", include(pack_urls)),
    path("instruments/", include(instrument_urls)),
    path("gauge-studies/", include(study_urls)),
    path("sampling/", sampling.sampling, name="sampling"),
    path("", include("qa.urls_molds")),
    path("", include("qa.urls_floor_papers")),
    path("", include("qa.urls_chain")),
    path("", include("qa.urls_temporary")),
    path("", include("qa.urls_close_out")),
    path("", include("qa.urls_tablet")),
]

# What stands on the shop's own pages. Here, since who opens none (a command, a backup)
# need not import the views: a third of the time of a start.
tooling.extra_panels.append(molds.panel)
airframes.extra_panels += [together.panel, packs.panel]
parts.extra_panels.append(together.panel_of_part)
