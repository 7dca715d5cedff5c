from django.apps import AppConfig
from django.db.models.signals import post_migrate


class QaConfig(AppConfig):
    name = "qa"
    verbose_name = "Quality records"

    def ready(self):
        # Models are not loaded when this module is read.
        from qa.actions import first_standings, remeasuring
        from qa.actions.rebuilding import FAMILIES
        from qa.identifiers import register_identifiers
        from qa.models import IssuedPack
        from qa.rules import (
            signed_close_outs,
            signed_fits,
            signed_packs,
            signed_plans,
        )
        from shop.ledger import acts, kept_files, projections
        from shop.rules import signing

        register_identifiers()
        for family in FAMILIES:
            projections.register(family)
        projections.register(remeasuring.FAMILY)
        acts.FOLLOWERS.append(remeasuring.follow)
        post_migrate.connect(remeasuring.fill_after_migrate)
        post_migrate.connect(first_standings.record_after_migrate)
        for signed in (signed_fits, signed_plans, signed_close_outs, signed_packs):
            for signable in signed.SIGNABLES:
                signing.register(signable)
        for column, ending in (
            ("sha256", "pdf"),
            ("content_digest", "json"),
            ("signature_sha256", "p7s"),
        ):
            kept = kept_files.KeptFile(IssuedPack, column, ending, "content")
            kept_files.register(kept)
