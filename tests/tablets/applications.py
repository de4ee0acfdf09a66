"""Applications that act for a person, as a tablet's is."""

from datetime import timedelta

from django.utils import timezone
from oauth2_provider.models import AccessToken, Application
from rest_framework.test import APIClient

from clinic.models import Staff
from tests.factories import new_id


def token_of(staff: Staff, scope: str) -> APIClient:
    """An application that acts for her, in no more than this scope."""
    application = Application.objects.create(
        client_id=new_id(), client_type="public", authorization_grant_type="authorization-code"
    )
    token, expires = new_id(), timezone.now() + timedelta(minutes=5)
    AccessToken.objects.create(application=application, user=staff.user, token=token, scope=scope, expires=expires)
    api = APIClient()
    api.credentials(HTTP_AUTHORIZATION=f"Bearer {token}")
    return api
