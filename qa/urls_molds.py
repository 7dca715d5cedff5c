"""What the fits say of molds, and their corrections."""

from django.urls import path

from qa.views import mold_papers, molds

FITS = "molds/<int:pk>/fits/<int:joint>/<int:design>/"

urlpatterns = [
    path(FITS, molds.mold_fits, name="mold_fits"),
    path(f"{FITS}take/", molds.take_correction, name="take_correction"),
    path("corrections/<int:number>/", molds.correction, name="correction"),
    path(
        "corrections/<int:number>/done/", molds.correction_done, name="correction_done"
    ),
    path(
        "corrections/<int:number>/on-plug/",
        molds.correction_on_plug,
        name="correction_on_plug",
    ),
    path(
        "corrections/<int:number>/withdraw/",
        molds.withdraw_correction,
        name="withdraw_correction",
    ),
    path(
        "corrections/<int:number>/sheet.pdf",
        mold_papers.correction_sheet,
        name="correction_sheet",
    ),
    path(
        "corrections/<int:number>/scribe.pdf",
        mold_papers.correction_template,
        name="correction_template",
    ),
]
