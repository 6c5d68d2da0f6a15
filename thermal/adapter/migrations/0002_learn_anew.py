"""What learning derived by another method is dropped; its chores work it out again from the readings."""

from typing import Any

from django.db import migrations
from django.db.backends.base.schema import BaseDatabaseSchemaEditor
from django.db.migrations.state import StateApps


def drop_derived(apps: StateApps, schema_editor: BaseDatabaseSchemaEditor) -> None:
    """Both ways: neither version can read what the other one derived."""
    learned: Any = apps.get_model("thermal", "LearnedDay")
    learning: Any = apps.get_model("thermal", "UnitLearning")
    learned.objects.all().delete()
    learning.objects.update(learned_at=None, learned_to=None, watched_to=None, watched_from=None, watch={})


class Migration(migrations.Migration):
    dependencies = [("thermal", "0001_learning")]
    operations = [migrations.RunPython(drop_derived, drop_derived)]
