"""The API's addresses."""

urlpatterns: list = []
