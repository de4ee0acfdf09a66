"""The OAuth2 routes that are offered: authorize, token, revoke, introspect; no page that manages applications."""

from django.urls import path
from oauth2_provider import views

from clinic.api.consent import Consent
from clinic.api.introspection import Introspect

app_name = "oauth2_provider"

urlpatterns = [
    path("oauth/authorize/", Consent.as_view(), name="authorize"),
    path("oauth/token/", views.TokenView.as_view(), name="token"),
    path("oauth/revoke_token/", views.RevokeTokenView.as_view(), name="revoke-token"),
    path("oauth/introspect/", Introspect.as_view(), name="introspect"),
    path(
        ".well-known/oauth-authorization-server",
        views.OAuthServerMetadataView.as_view(),
        name="oauth-server-metadata",
    ),
    path(
        ".well-known/oauth-protected-resource",
        views.OAuthProtectedResourceMetadataView.as_view(),
        name="oauth-resource-metadata",
    ),
]
