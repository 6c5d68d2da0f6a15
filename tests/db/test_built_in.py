"""Rows that a release brings along are there after a migration, and a migration that ends elsewhere ends well."""

from __future__ import annotations

import pytest
from django.apps import apps as ours
from django.apps.registry import Apps
from django.core.management.sql import emit_post_migrate_signal
from django.db import connection
from django.db.migrations.loader import MigrationLoader

from fleet.models import Commodity
from inspections.models import Sheet

pytestmark = pytest.mark.django_db


def after_migrating_to(apps: Apps) -> None:
    emit_post_migrate_signal(verbosity=0, interactive=False, db="default", apps=apps)


def emptied() -> None:
    Sheet.objects.across_fleets().all().delete()
    Commodity.objects.across_fleets().all().delete()


def test_a_whole_migration_brings_the_sheets_and_the_commodities() -> None:
    emptied()
    after_migrating_to(ours)
    assert Sheet.objects.across_fleets().exists()
    assert Commodity.objects.across_fleets().exists()


def test_a_migration_of_one_app_brings_its_rows_and_leaves_the_other_alone() -> None:
    emptied()
    after_migrating_to(MigrationLoader(connection).project_state([("fleet", "0001_initial")]).apps)
    assert Commodity.objects.across_fleets().exists()
    assert not Sheet.objects.across_fleets().exists()


def test_without_tables_nothing_is_brought() -> None:
    emptied()
    after_migrating_to(Apps())
    assert not Commodity.objects.across_fleets().exists()
