"""People at the door and their preferences."""

from django.urls import path

from shop.views import identity, people

urlpatterns = [
    path("sign-in/", people.sign_in, name="sign_in"),
    path("sign-out/", people.sign_out, name="sign_out"),
    path("password/", people.own_password, name="own_password"),
    path("screen/", people.theme, name="theme"),
    path("units/", people.units, name="units"),
    path("shop/", identity.shop_identity, name="shop_identity"),
]
