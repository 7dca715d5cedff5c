"""Pages that need both sides: the chain, left and right, the search."""

from django.urls import path

from qa.views import chain

urlpatterns = [
    path("chain/<slug:kind>/<int:pk>/", chain.chain, name="chain"),
    path("chain/<slug:kind>/<int:pk>.pdf", chain.chain_pdf, name="chain_pdf"),
    path("chain/<slug:kind>/<int:pk>.csv", chain.chain_csv, name="chain_csv"),
]
