from django.apps import AppConfig


class QaConfig(AppConfig):
    name = "qa"
    verbose_name = "Quality records"

    def ready(self):
        # Models are not loaded when this module is read.
        from qa.actions.rebuilding import FAMILIES
        from qa.identifiers import register_things
        from qa.views import molds
        from shop.ledger import projections
        from shop.views import tooling

        register_things()
        for family in FAMILIES:
            projections.register(family)
        tooling.extra_panels.append(molds.panel)
