"""Signing, and what was signed."""

from django.urls import path

from shop.views import signatures

urlpatterns = [
    path("signatures/", signatures.signatures, name="signatures"),
    path("sign/<slug:kind>/<int:key>/", signatures.sign, name="sign"),
]
