"""The door for an asynchronous application server."""

import os

from django.core.asgi import get_asgi_application

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "tracker.settings.base")
application = get_asgi_application()
