"""Pages that need both sides: the chain, left and right, the search."""

from django.urls import path

from qa.views import chain, home, search

urlpatterns = [
    path("chain/<slug:kind>/<int:pk>/", chain.chain, name="chain"),
    path("chain/<slug:kind>/<int:pk>.pdf", chain.chain_pdf, name="chain_pdf"),
    path("chain/<slug:kind>/<int:pk>.csv", chain.chain_csv, name="chain_csv"),
    path("pairs/", search.pairs, name="pairs"),
    path("pairs/<int:pk>/", search.pair, name="sides"),
    path("pairs/joints/<int:pk>/", search.joint_pair, name="joint_pair"),
    path("search/", search.search, name="search"),
    path("today/read/", home.read_changes, name="read_changes"),
]
