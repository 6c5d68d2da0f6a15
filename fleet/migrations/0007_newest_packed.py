"""The newest of what readings told is kept as bytes (`fleet.packed`) instead of as text."""

import json
from datetime import datetime

from django.db import migrations, models

from fleet.packed import pack_group, unpack_group
from fleet.stamps import stamp


def pack(state):
    at, source, values = json.loads(state.newest_text)
    values.pop("fleet.last_on", None)  # told by unit_on
    if "position" in values:
        values["latitude"], values["longitude"] = values.pop("position")
    state.newest = pack_group(datetime.fromisoformat(at), values, source)


def unpack(state):
    at, values, source = unpack_group(bytes(state.newest))
    state.newest_text = json.dumps([stamp(at), source, values])


def change_all(change, field, empty):
    def run(apps, schema_editor):
        states = apps.get_model("fleet", "UnitState")._base_manager
        kept = "newest" if field == "newest_text" else "newest_text"
        changed = []
        for state in states.exclude(**{kept: empty}).order_by("pk").iterator(chunk_size=500):
            change(state)
            changed.append(state)
            if len(changed) == 500:
                states.bulk_update(changed, [field])
                changed = []
        states.bulk_update(changed, [field])

    return run


class Migration(migrations.Migration):
    dependencies = [("fleet", "0006_newest_apart")]

    operations = [
        migrations.RenameField("unitstate", "newest", "newest_text"),
        migrations.AddField("unitstate", "newest", models.BinaryField(default=b"")),
        migrations.RunPython(change_all(pack, "newest", ""), change_all(unpack, "newest_text", b"")),
        migrations.RemoveField("unitstate", "newest_text"),
    ]
