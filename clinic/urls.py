"""The doors of the service."""

from django.urls import path

urlpatterns: list = [path("nothing/", lambda r: None)]
