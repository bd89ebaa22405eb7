"""Bring the catalogues up to date: python -m tests.languages"""

import os

import django

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "tracker.settings.test")
django.setup()

from tests.languages import catalogues  # noqa: E402

for code in catalogues.OTHERS:
    for domain in catalogues.WRITTEN:
        waiting = catalogues.update(domain, code)
        print(f"{catalogues.po_path(domain, code).relative_to(catalogues.ROOT)}: {len(waiting)} to translate")
        for words in waiting:
            print(f"  {words}")
