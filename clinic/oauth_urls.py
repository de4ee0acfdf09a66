"""The OAuth2 routes that are offered: authorize, token, revoke, introspect; no page that manages applications."""

from django.urls import path
from oauth2_provider import views

app_name = "oauth2_provider"

urlpatterns = [
    path("authorize/", views.AuthorizationView.as_view(), name="authorize"),
    path("token/", views.TokenView.as_view(), name="token"),
    path("revoke_token/", views.RevokeTokenView.as_view(), name="revoke-token"),
    path("introspect/", views.IntrospectTokenView.as_view(), name="introspect"),
]
