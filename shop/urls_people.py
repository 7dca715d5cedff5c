"""People at the door and their preferences."""

from django.urls import path

from shop.views import account, backups, identity

urlpatterns = [
    path("sign-in/", account.sign_in, name="sign_in"),
    path("sign-out/", account.sign_out, name="sign_out"),
    path("password/", account.own_password, name="own_password"),
    path("screen/", account.theme, name="theme"),
    path("units/", account.units, name="units"),
    path("shop/", identity.shop_identity, name="shop_identity"),
    path("backups/", backups.backups, name="backups"),
    path("backups/plan/", backups.plan_backups, name="plan_backups"),
    path("backups/now/", backups.back_up_now, name="back_up_now"),
]
