"""Papers of the shop floor."""

from django.urls import path

from qa.views import floor_papers

urlpatterns = [
    path(
        "materials/laminates/<int:pk>/ply-book.pdf",
        floor_papers.ply_book,
        name="ply_book",
    ),
    path("tooling/pulls/<int:pk>/traveler.pdf", floor_papers.traveler, name="traveler"),
    path("tooling/<int:pk>/card.pdf", floor_papers.mold_card, name="mold_card"),
    path(
        "airframes/<int:pk>/weight-and-balance.pdf",
        floor_papers.weight_and_balance,
        name="weight_and_balance",
    ),
]
