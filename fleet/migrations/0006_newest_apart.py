"""The newest of what readings told stands apart from the rest. Rows get there with their next reading."""

import json

from django.db import migrations, models


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
        migrations.RunPython(migrations.RunPython.noop, put_together),
    ]
