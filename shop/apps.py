from django.apps import AppConfig, apps
from django.db.models.signals import post_migrate, pre_migrate


class ShopConfig(AppConfig):
    name = "shop"
    verbose_name = "Shop"

    def ready(self):
        # Models are not loaded when this module is read.
        from shop.actions.rebuilding import FAMILIES
        from shop.forms.messages import use_plain_words
        from shop.ledger import guards, projections, word_index
        from shop.models.any_case import compare_in_any_case
        from shop.models.columns import hash_by_name
        from shop.models.kept import watch_deletions
        from shop.rules import signed_work, signing
        from shop.serving import database
        from shop.sessions import watch_arrivals

        use_plain_words()
        hash_by_name()
        compare_in_any_case()
        for family in FAMILIES:
            projections.register(family)
        for signable in signed_work.SIGNABLES:
            signing.register(signable)
        watch_deletions(apps.get_models())
        watch_arrivals()
        pre_migrate.connect(database.refuse_later_before_migrate)
        post_migrate.connect(guards.install_after_migrate)
        post_migrate.connect(word_index.install_after_migrate)
        post_migrate.connect(database.keep_private_after_migrate)
