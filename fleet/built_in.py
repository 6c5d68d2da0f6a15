"""Rows that a release brings along: written after a migration that ends at the tables this code knows."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.apps import AppConfig
from django.apps import apps as ours
from django.apps.registry import Apps
from django.db.models import Model
from django.db.models.signals import post_migrate


def keep_built_in(config: AppConfig, load: Callable[[], object], *models: type[Model]) -> None:
    """Calls *load* after every `migrate` that leaves *models* as this code has them.

    `migrate` also ends elsewhere: at an earlier migration, or at the newest one of another app only.
    """

    def after_migrate(apps: Apps = ours, **_: Any) -> None:
        if all(stands(model, apps) for model in models):
            load()

    name = f"{config.label}.{load.__name__}"
    post_migrate.connect(after_migrate, sender=config, weak=False, dispatch_uid=name)


def stands(model: type[Model], apps: Apps) -> bool:
    """Whether the database of that migration state has the table of *model* with the columns of the code."""
    try:
        there = apps.get_model(model._meta.label)
    except LookupError:
        return False
    return columns_of(there) == columns_of(model)


def columns_of(model: type[Model]) -> set[str | None]:
    return {field.column for field in model._meta.concrete_fields}
