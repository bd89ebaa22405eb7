"""Bring the catalogues up to date: python -m tests.languages"""

import os

import django

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "tracker.settings.test")
django.setup()

from tests.languages import catalogues  # noqa: E402

for code in catalogues.OTHERS:
    for domain in catalogues.WRITTEN:
        catalog = catalogues.brought_up_to_date(domain, code)
        path, waiting = catalogues.po_path(domain, code), catalogues.waiting(catalog)
        catalogues.write(path, catalog)
        print("\n  ".join([f"{path.relative_to(catalogues.ROOT)}: {len(waiting)} to translate", *waiting]))
