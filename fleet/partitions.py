"""Monthly partitions of the readings table on PostgreSQL: made from the first migration, ahead of time, and dropped.

Elsewhere the table is an ordinary one and these functions do nothing.
"""

from __future__ import annotations

from datetime import UTC, datetime

from django.db import connection, migrations, transaction

TABLE = "fleet_reading"
DEFAULT = f"{TABLE}_default"
AHEAD_MONTHS = 3


class CreatePartitioned(migrations.CreateModel):
    """CreateModel whose table is range-partitioned by `at` on PostgreSQL, with a default partition."""

    def database_forwards(self, app_label, schema_editor, from_state, to_state):
        model = to_state.apps.get_model(app_label, self.name)
        if schema_editor.connection.vendor != "postgresql" or not self.allow_migrate_model(
            schema_editor.connection.alias, model
        ):
            super().database_forwards(app_label, schema_editor, from_state, to_state)
            return
        sql, params = schema_editor.table_sql(model)
        schema_editor.execute(f'{sql} PARTITION BY RANGE ("at")', params or None)
        schema_editor.execute(f"CREATE TABLE {DEFAULT} PARTITION OF {model._meta.db_table} DEFAULT")


def month_name(at: datetime) -> str:
    return f"{TABLE}_y{at:%Y}m{at:%m}"


def next_month(at: datetime, months: int = 1) -> datetime:
    """The first moment of a later (or, negative, earlier) month, in UTC."""
    index = at.year * 12 + at.month - 1 + months
    return datetime(index // 12, index % 12 + 1, 1, tzinfo=UTC)


def ensure_partitions(*, now: datetime, ahead: int = AHEAD_MONTHS) -> list[str]:
    """Makes this month's partition and those of the coming months; returns the names it made.

    Rows that fell into the default partition before their month existed are moved, so that they cannot block it.
    """
    if connection.vendor != "postgresql":
        return []
    made = []
    for step in range(ahead + 1):
        start = next_month(now, step)
        if _make(start, next_month(start)):
            made.append(month_name(start))
    return made


def _make(start: datetime, end: datetime) -> bool:
    name = month_name(start)
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("SELECT pg_advisory_xact_lock(hashtext(%s))", [TABLE])
        cursor.execute("SELECT to_regclass(%s)", [name])
        if cursor.fetchone()[0] is not None:
            return False
        bounds = (f"{start:%Y-%m-%d}", f"{end:%Y-%m-%d}")
        cursor.execute(f"CREATE TABLE {name} (LIKE {TABLE} INCLUDING ALL)")
        cursor.execute(
            f"WITH moved AS (DELETE FROM {DEFAULT} WHERE at >= %s AND at < %s RETURNING *)"
            f" INSERT INTO {name} SELECT * FROM moved",
            bounds,
        )
        cursor.execute(
            f"ALTER TABLE {TABLE} ATTACH PARTITION {name} FOR VALUES FROM ('{bounds[0]}') TO ('{bounds[1]}')"
        )
    return True


def drop_partitions_before(at: datetime) -> list[str]:
    """Drops months that ended before *at*: that is how retention works. Returns their names."""
    if connection.vendor != "postgresql":
        return []
    oldest_kept = month_name(at)
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(
            "SELECT c.relname FROM pg_inherits i JOIN pg_class c ON c.oid = i.inhrelid"
            " WHERE i.inhparent = %s::regclass AND c.relname <> %s AND c.relname < %s ORDER BY 1",
            [TABLE, DEFAULT, oldest_kept],
        )
        names = [row[0] for row in cursor.fetchall()]
        for name in names:
            cursor.execute(f"DROP TABLE {name}")
    return names


def delete_readings_before(at: datetime) -> int:
    """Deletes older rows where there are no partitions to drop, and strays of the default partition elsewhere."""
    table = DEFAULT if connection.vendor == "postgresql" else TABLE
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(f"DELETE FROM {table} WHERE at < %s", [connection.ops.adapt_datetimefield_value(at)])
        return max(int(cursor.rowcount), 0)
