"""The ground floor's routes below /api/v1/."""

from django.urls import path

from clinic.api import clients

urlpatterns = [
    path("clients/", clients.ClientList.as_view()),
    path("clients/<uuid:id>/", clients.ClientDetail.as_view()),
]
