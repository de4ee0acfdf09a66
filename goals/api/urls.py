"""The routes of this floor below /api/v1/."""

urlpatterns: list = []
