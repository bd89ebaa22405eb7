"""Make an API key for another system and print it once."""

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from services.errors import Refusal
from tracker.actions.keys import SCOPES, create_key
from tracker.models.access import ROLES


class Command(BaseCommand):
    """manage.py create_api_key NAME --role desk --scope read --scope readings:write"""

    help = "Make an API key for another system. It is printed once and kept only as a hash."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Name, role and scopes."""
        parser.add_argument("name", help="the system that will use the key")
        parser.add_argument("--role", default="desk", choices=ROLES)
        parser.add_argument("--scope", action="append", choices=sorted(SCOPES), help="may be given several times")

    def handle(self, *args: Any, **options: Any) -> None:
        """Print the key on one line of its own."""
        try:
            client, key = create_key(
                name=options["name"], role=options["role"], scopes=options["scope"] or ["read"], now=timezone.now()
            )
        except Refusal as refusal:
            raise CommandError(f"{refusal.message} {refusal.remedy}") from refusal
        self.stderr.write(f"Key of '{client.name}' ({client.role}: {', '.join(client.scopes)}). It is shown only now:")
        self.stdout.write(key)
