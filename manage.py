#!/usr/bin/env python3
"""The workshop's command line: `manage.py demo`, `manage.py import_files`, `manage.py sweep` and Django's own."""

import os
import sys

if __name__ == "__main__":
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "tracker.settings.base")
    from django.core.management import execute_from_command_line

    execute_from_command_line(sys.argv)
