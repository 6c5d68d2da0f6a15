"""The readiness framework: what a check is, what it may read, and how findings become a verdict.

Extension point 2. Apps add checks to `fleet.readiness.registry.checks` in `AppConfig.ready()`.
"""
