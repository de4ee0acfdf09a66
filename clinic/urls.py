"""The doors of the service. The other floors are named as strings: nothing here imports upward."""

from django.urls import include, path
from drf_spectacular.views import SpectacularJSONAPIView, SpectacularSwaggerSplitView

from clinic.api import health, session

DOCS = {"url_name": "openapi", "template_name": "clinic/docs.html"}

urlpatterns = [
    path("health/", health.Health.as_view()),
    path("livez/", health.Live.as_view()),
    path("readyz/", health.Ready.as_view()),
    path("login/", session.LogIn.as_view(), name="login"),
    path("logout/", session.LogOut.as_view(), name="logout"),
    path("", include("clinic.oauth_urls", namespace="oauth2_provider")),
    path("problems/<slug:code>/", health.ProblemWords.as_view()),
    path("api/v1/openapi.json", SpectacularJSONAPIView.as_view(), name="openapi"),
    path("api/v1/docs/", SpectacularSwaggerSplitView.as_view(**DOCS), name="docs"),
    path("api/v1/", include("clinic.api.urls")),
    path("api/v1/", include("goals.api.urls")),
    path("api/v1/", include("scheduling.api.urls")),
]

handler400 = "clinic.api.problems.bad_request"
handler403 = "clinic.api.problems.permission_denied"
handler404 = "clinic.api.problems.not_found"
handler500 = "clinic.api.problems.server_error"
