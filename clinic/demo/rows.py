"""Rows of one practice by the plan they came from; every one with its history."""

from collections.abc import Iterable, Mapping
from datetime import datetime
from enum import Enum
from typing import Any

from django.db import connection, models
from simple_history.utils import bulk_create_with_history

from clinic.access.models import Member
from clinic.demo.people import House
from clinic.demo.shapes import Plan

ROWS_AT_ONCE = 500


def plain(values: Mapping[str, Any]) -> dict[str, Any]:
    """Terms as bare text: a database driver need not know them."""
    return {name: value.value if isinstance(value, Enum) else value for name, value in values.items()}


class Rows:
    def __init__(self, house: House, plan: Plan) -> None:
        self.house, self.plan = house, plan
        self.rows: dict[int, models.Model] = {}
        self.members: dict[str, Member] = {}

    def save(self, rows: Iterable[models.Model]) -> None:
        rows = list(rows)
        if rows:
            bulk_create_with_history(rows, type(rows[0]), batch_size=ROWS_AT_ONCE, default_change_reason=None)

    def save_parts(
        self, model: type[models.Model], rows: Iterable[dict[str, Any]], *, of: str, by: str, at: str
    ) -> None:
        """Rows by the ten thousand, past the models, whose first version has its parent's author and moment.

        rows: by column. of: the field that names the parent. by, at: columns of the parent.
        """
        table, columns = model._meta.db_table, [field.column for field in model._meta.concrete_fields[1:]]
        parent = model._meta.get_field(of)
        before = model._base_manager.aggregate(models.Max("pk"))["pk__max"] or 0
        kept = [*columns, "history_user_id", "history_date", "history_type"]
        copied = [*(f"r.{column}" for column in columns), f"p.{by}", f"p.{at}", "'+'"]
        insert = f"INSERT INTO {table} ({', '.join(columns)}) VALUES ({', '.join(['%s'] * len(columns))})"  # noqa: S608
        copy = (  # names come from the models alone
            f"INSERT INTO {model.history.model._meta.db_table} (id, {', '.join(kept)}) SELECT r.id, {', '.join(copied)}"  # noqa: S608
            f" FROM {table} r JOIN {parent.related_model._meta.db_table} p ON p.id = r.{parent.column}"
            " WHERE r.id > %s ORDER BY r.id"
        )
        with connection.cursor() as cursor:
            cursor.executemany(insert, [[row[column] for column in columns] for row in rows])
            cursor.execute(copy, [before])

    def make(self, model: type[models.Model], plan: object, *, by: Member, at: datetime, **values: Any) -> models.Model:
        """plan: what the row is found by later; None if nothing asks for it."""
        row = model(**plain(values))
        row._history_user, row._history_date = by, at
        if plan is not None:
            self.rows[id(plan)] = row
        return row
