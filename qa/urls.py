"""What qa shows and takes."""

from django.urls import include, path

app_name = None
urlpatterns = []
