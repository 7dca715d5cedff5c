"""Pages that need both sides: the chain, left and right, the search."""

from django.urls import path

from qa.views import chain, finding, front

urlpatterns = [
    path("chain/<slug:kind>/<int:pk>/", chain.chain, name="chain"),
    path("chain/<slug:kind>/<int:pk>.pdf", chain.chain_pdf, name="chain_pdf"),
    path("chain/<slug:kind>/<int:pk>.csv", chain.chain_csv, name="chain_csv"),
    path("pairs/", finding.pairs, name="pairs"),
    path("pairs/<int:pk>/", finding.pair, name="sides"),
    path("pairs/joints/<int:pk>/", finding.joint_pair, name="joint_pair"),
    path("search/", finding.search, name="search"),
    path("today/read/", front.read_changes, name="read_changes"),
]
