from django.apps import AppConfig
from django.db.models.signals import post_migrate


class ShopConfig(AppConfig):
    name = "shop"
    verbose_name = "Shop"

    def ready(self):
        # Models are not loaded when this module is read.
        from shop.forms.words import use_plain_words
        from shop.ledger import guards

        use_plain_words()
        post_migrate.connect(guards.install_after_migrate)
