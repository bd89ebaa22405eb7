"""Django's own SQLite backend, but for one number: how many values a statement may carry."""
