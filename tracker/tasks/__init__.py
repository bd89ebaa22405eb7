"""Background tasks: each reads the clock and calls actions. Safe to run twice and at the same time.

Celery finds the tasks by importing this package, so every module with tasks is imported here.
"""

import importlib
import pkgutil

for _module in pkgutil.iter_modules(__path__):
    importlib.import_module(f"{__name__}.{_module.name}")
