"""The HTTP ground of all apps: strict input, problems, roles, ETags, idempotency, pagination, schema.

No trade rules live here. Apps import from the modules of this package; the package imports no app.
"""
