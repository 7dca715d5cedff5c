from django.apps import AppConfig


class QaConfig(AppConfig):
    name = "qa"
    verbose_name = "Quality records"

    def ready(self):
        # Models are not loaded when this module is read.
        from qa.things import register_things

        register_things()
