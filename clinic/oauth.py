"""The scopes of applications: the actions of the access table, by the same names."""

from typing import Any

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
