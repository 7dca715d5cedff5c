"""What anyone may open, signed in or not, beside the sign-in page."""

from django.urls import path

from shop.views import health, trust

urlpatterns = [
    path("health", health.health, name="health"),
    path("trust/", trust.trust, name="trust"),
    path("trust/certificate", trust.trust_certificate, name="trust_certificate"),
]
