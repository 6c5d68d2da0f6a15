"""What readings told of a unit moves from two documents with a time in every entry into one that groups by time."""

import json

from django.db import migrations, models

LAST_ON, OLDEST = "fleet.last_on", ("fleet.first_off", "fleet.first_engine_hours")


def group(apps, schema_editor):
    def change(state):
        told = {name: state.facts.pop(name) for name in (LAST_ON, *OLDEST) if name in state.facts}
        groups = {}
        last_on = {LAST_ON: told.pop(LAST_ON)} if LAST_ON in told else {}
        for name, (value, at, source) in (state.values | last_on).items():
            groups.setdefault((at, source), {})[name] = value
        newest = [[at, source, values] for (at, source), values in sorted(groups.items(), reverse=True)]
        state.measured = json.dumps({"newest": newest, "oldest": told})

    _change_all(apps, change, ["measured", "facts"])


def ungroup(apps, schema_editor):
    def change(state):
        document = json.loads(state.measured)
        values = {
            name: [value, _fixed_width(at), source] for at, source, group in document["newest"]
            for name, value in group.items()
        }
        told = {name: [value, _fixed_width(at), source] for name, (value, at, source) in document["oldest"].items()}
        if LAST_ON in values:
            told[LAST_ON] = values.pop(LAST_ON)
        state.values, state.facts = values, state.facts | told

    _change_all(apps, change, ["values", "facts"])


def _change_all(apps, change, fields):
    states = apps.get_model("fleet", "UnitState")._base_manager
    changed = []
    for state in states.order_by("pk").iterator(chunk_size=500):
        change(state)
        changed.append(state)
        if len(changed) == 500:
            states.bulk_update(changed, fields)
            changed = []
    states.bulk_update(changed, fields)


def _leave_room(percent):
    """Rows of this table are rewritten with every reading. With room in their page that touches no index (HOT)."""

    def change(apps, schema_editor):
        if schema_editor.connection.vendor == "postgresql":
            schema_editor.execute(f"ALTER TABLE fleet_unitstate SET (fillfactor = {percent})")

    return change


def _fixed_width(at):
    """RFC 3339 in UTC with six digits of a second: the form in which text order is time order."""
    whole, _, fraction = at.removesuffix("Z").partition(".")
    return f"{whole}.{fraction:0<6}Z"


class Migration(migrations.Migration):
    dependencies = [("fleet", "0004_names_for_operators")]

    operations = [
        migrations.AddField("unitstate", "measured", models.TextField(default='{"newest":[],"oldest":{}}')),
        migrations.RunPython(group, ungroup),
        migrations.RemoveField("unitstate", "values"),
        migrations.RunPython(_leave_room(50), _leave_room(100)),
    ]
