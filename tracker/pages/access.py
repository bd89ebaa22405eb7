"""Logging in and out."""

from django.contrib.auth.views import LoginView, LogoutView


class LogIn(LoginView):
    """Name and password. Whoever is logged in already goes on to where they were going."""

    template_name = "desk/login.html"
    redirect_authenticated_user = True


class LogOut(LogoutView):
    """Ends the session; by POST only."""

    http_method_names = ["post", "options"]
