"""The shop floor: tooling, machines, pulls, materials, weights, photos."""

from django.urls import path, register_converter

from shop.views import machines, materials, photos, pulls, tooling, weights


class Sha256:
    regex = "[0-9a-f]{64}"

    def to_python(self, value):
        return value

    def to_url(self, value):
        return value


register_converter(Sha256, "sha256")

tool_urls = [
    path("tooling/", tooling.tools, name="tooling"),
    path("tooling/add/", tooling.add_tool, name="add_tool"),
    path("tooling/<int:pk>/", tooling.tool, name="tool"),
    path("tooling/<int:pk>/change/", tooling.change_tool, name="change_tool"),
    path("tooling/<int:pk>/act/", tooling.act_on_tool, name="act_on_tool"),
    path("tooling/<int:pk>/defect/", tooling.note_defect, name="note_defect"),
    path(
        "tooling/defects/<int:pk>/repair/", tooling.repair_defect, name="repair_defect"
    ),
    path("tooling/<int:pk>/step/", tooling.add_step, name="add_step"),
    path("tooling/steps/<int:pk>/do/", tooling.do_step, name="do_step"),
    path("tooling/steps-done/<int:pk>/", tooling.step_done, name="step_done"),
    path(
        "tooling/steps-done/<int:pk>/take-back/",
        tooling.take_back_step,
        name="take_back_step",
    ),
    path("tooling/routes/", tooling.all_routes, name="routes"),
    path("tooling/routes/<slug:kind>/", tooling.set_route, name="set_route"),
    path("tooling/<int:pk>/coat/", tooling.apply_coat, name="apply_coat"),
    path(
        "tooling/coats/<int:pk>/take-back/",
        tooling.take_back_coat,
        name="take_back_coat",
    ),
    path(
        "tooling/release-products/", tooling.release_products, name="release_products"
    ),
    path(
        "tooling/release-products/add/",
        tooling.release_product,
        name="add_release_product",
    ),
    path(
        "tooling/release-products/<int:pk>/",
        tooling.release_product,
        name="release_product",
    ),
    path("tooling/machines/", machines.machines, name="machines"),
    path("tooling/machines/add/", machines.add_machine, name="add_machine"),
    path("tooling/machines/<int:pk>/", machines.machine, name="machine"),
    path(
        "tooling/machines/<int:pk>/change/",
        machines.change_machine,
        name="change_machine",
    ),
    path("tooling/machines/<int:pk>/play/", machines.measure_play, name="measure_play"),
    path("tooling/<int:pk>/milling/", machines.record_milling, name="record_milling"),
    path("tooling/milling/<int:pk>/", machines.milling, name="milling"),
]
pull_urls = [
    path("tooling/pulls/", pulls.pulls, name="pulls"),
    path("tooling/<int:pk>/pull/", pulls.start_pull, name="start_pull"),
    path("tooling/pulls/<int:pk>/", pulls.pull, name="pull"),
    path("tooling/pulls/<int:pk>/plies/", pulls.lay_plies, name="lay_plies"),
    path(
        "tooling/pulls/<int:pk>/other-ply/", pulls.lay_other_ply, name="lay_other_ply"
    ),
    path("tooling/pulls/<int:pk>/resin/", pulls.mix_resin, name="mix_resin"),
    path("tooling/pulls/<int:pk>/bag/", pulls.test_bag, name="test_bag"),
    path("tooling/pulls/<int:pk>/close/", pulls.close_layup, name="close_layup"),
    path("tooling/pulls/<int:pk>/trace/", pulls.record_trace, name="record_trace"),
    path("tooling/traces/<int:pk>/", pulls.trace, name="trace"),
    path("tooling/pulls/<int:pk>/work/", pulls.note_work, name="note_work"),
    path("tooling/pulls/<int:pk>/demold/", pulls.demold, name="demold"),
    path("tooling/pulls/<int:pk>/void/", pulls.void_pull, name="void_pull"),
    path("tooling/pulls/<int:pk>/part/", pulls.yield_part, name="yield_part"),
]
material_urls = [
    path("materials/lots/", materials.lots, name="lots"),
    path("materials/lots/add/", materials.receive_lot, name="receive_lot"),
    path("materials/lots/<int:pk>/", materials.lot, name="lot"),
    path("materials/lots/<int:pk>/act/", materials.act_on_lot, name="act_on_lot"),
    path("materials/lots/<int:pk>/papers/", materials.file_papers, name="file_papers"),
    path("materials/", materials.all_materials, name="materials"),
    path("materials/add/", materials.material, name="add_material"),
    path("materials/<int:pk>/", materials.material, name="material"),
    path("materials/laminates/", materials.all_laminates, name="laminates"),
    path("materials/cure-recipes/", materials.recipes, name="recipes"),
    path("materials/laminates/add/", materials.add_laminate, name="add_laminate"),
    path("materials/laminates/<int:pk>/", materials.laminate, name="laminate"),
    path(
        "materials/laminates/<int:pk>/revise/",
        materials.revise_laminate,
        name="revise_laminate",
    ),
    path("materials/cure-recipes/add/", materials.add_recipe, name="add_recipe"),
]
weight_urls = [
    path("parts/<int:pk>/weigh/", weights.weigh_part, name="weigh_part"),
    path("parts/to-weigh/", weights.to_weigh, name="to_weigh"),
    path("airframes/<int:pk>/balance/", weights.balance, name="balance"),
    path("airframes/<int:pk>/weigh/", weights.weigh_airframe, name="weigh_airframe"),
    path("airframes/positions/<int:pk>/arm/", weights.set_arm, name="set_arm"),
    path("photos/<sha256:sha256>.jpg", photos.photo, name="photo"),
    path("photo-of/<slug:kind>/<int:pk>/", photos.add_photo, name="add_photo"),
]
urlpatterns = tool_urls + pull_urls + material_urls + weight_urls
