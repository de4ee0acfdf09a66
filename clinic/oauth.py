"""What applications may ask for: the actions of the access table as scopes, for people who may still sign in."""

from typing import Any

from oauth2_provider.oauth2_validators import OAuth2Validator
from oauth2_provider.scopes import BaseScopes

from clinic.rules.access import SYSTEM_ACTIONS, Action


class ActionScopes(BaseScopes):
    """Every action is a scope; an application asks for what it needs, and gets no more than its person may."""

    def get_all_scopes(self) -> dict[str, str]:
        return {action.value: action.name.replace("_", " ").lower() for action in Action}

    def get_available_scopes(
        self, application: Any = None, request: Any = None, *args: Any, **kwargs: Any
    ) -> list[str]:
        if application is not None and application.authorization_grant_type == "client-credentials":
            return [action.value for action in SYSTEM_ACTIONS]
        return [action.value for action in Action]

    def get_default_scopes(self, application: Any = None, request: Any = None, *args: Any, **kwargs: Any) -> list[str]:
        return []


class Validator(OAuth2Validator):
    """No token without a scope, and none for a person whose account was closed."""

    def validate_scopes(
        self, client_id: str, scopes: list[str], client: Any, request: Any, *args: Any, **kw: Any
    ) -> bool:
        return bool(scopes) and super().validate_scopes(client_id, scopes, client, request, *args, **kw)

    def validate_code(self, client_id: str, code: str, client: Any, request: Any, *args: Any, **kwargs: Any) -> bool:
        return super().validate_code(client_id, code, client, request, *args, **kwargs) and request.user.is_active

    def validate_refresh_token(self, refresh_token: str, client: Any, request: Any, *args: Any, **kwargs: Any) -> bool:
        return (
            super().validate_refresh_token(refresh_token, client, request, *args, **kwargs) and request.user.is_active
        )
