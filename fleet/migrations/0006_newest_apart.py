"""The newest of what readings told stands apart from the rest (rows get there with their next reading), and a state
knows its unit's number."""

import json

from django.db import migrations, models
from django.db.models import OuterRef, Subquery

from fleet.models.units import NumberOfUnit


def copy_numbers(apps, schema_editor):
    units = apps.get_model("fleet", "Unit")._base_manager.filter(pk=OuterRef("pk"))
    apps.get_model("fleet", "UnitState")._base_manager.update(number=Subquery(units.values("number")[:1]))


def put_together(apps, schema_editor):
    states = apps.get_model("fleet", "UnitState")._base_manager
    for state in states.exclude(newest="").order_by("pk").iterator(chunk_size=500):
        document, group = json.loads(state.measured), json.loads(state.newest)
        values = group[2]
        if values.get("unit_on"):
            values["fleet.last_on"] = True
        if "latitude" in values:
            values["position"] = [values.pop("latitude"), values.pop("longitude")]
        document["newest"].insert(0, group)
        states.filter(pk=state.pk).update(measured=json.dumps(document))


class Migration(migrations.Migration):
    dependencies = [("fleet", "0005_measured_together")]

    operations = [
        migrations.AddField("unitstate", "newest", models.TextField(default="")),
        migrations.AddField("unitstate", "shape", models.BigIntegerField(default=0)),
        migrations.AddField(
            "unitstate",
            "number",
            NumberOfUnit(default="", editable=False, max_length=40, help_text="The unit's; events name units by it."),
            preserve_default=False,
        ),
        migrations.RunPython(copy_numbers, put_together),
        migrations.AddConstraint(
            "unitstate",
            models.UniqueConstraint(fields=["fleet", "number"], name="unit_state_number_once_per_fleet"),
        ),
    ]
