"""Signing, and what was signed."""

from django.urls import path

from shop.views import signatures

urlpatterns = [
    path("signatures/", signatures.signatures, name="signatures"),
    path("ledger/head.pdf", signatures.ledger_head, name="ledger_head"),
    path("sign/<slug:kind>/<int:key>/", signatures.sign, name="sign"),
]
