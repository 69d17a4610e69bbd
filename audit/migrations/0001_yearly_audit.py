# Made from the models. Constraints stand with their table: adding them one by one takes ten times as long.

import django.db.models.deletion
import simple_history.models
from django.conf import settings
from django.db import migrations, models

import clinic.access.models


class Migration(migrations.Migration):
    initial = True

    dependencies = [
        ("clinic", "0001_the_record"),
    ]

    operations = [
        migrations.CreateModel(
            name="AuditYear",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                (
                    "key",
                    models.CharField(
                        default=clinic.access.models.random_key, editable=False, max_length=12, unique=True
                    ),
                ),
                ("version", models.PositiveIntegerField(default=1, editable=False)),
                ("starting_year", models.PositiveSmallIntegerField()),
                ("as_of", models.DateField()),
                ("aim", models.TextField(blank=True, default="", max_length=1000)),
                ("context", models.TextField(blank=True, default="", max_length=1000)),
                ("interpretation", models.TextField(blank=True, default="", max_length=4000)),
                ("limitations", models.TextField(blank=True, default="", max_length=2000)),
                ("no_action_reason", models.CharField(blank=True, default="", max_length=300)),
                ("quality_read_at", models.DateTimeField(blank=True, null=True)),
                ("quality_open", models.PositiveIntegerField(default=0)),
                ("standards_confirmed_at", models.DateTimeField(blank=True, null=True)),
                ("standards_digest", models.CharField(blank=True, default="", max_length=64)),
                ("opened_at", models.DateTimeField()),
                (
                    "opened_by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
                (
                    "practice",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="audit_years", to="clinic.practice"
                    ),
                ),
                (
                    "quality_read_by",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "standards_confirmed_by",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
            ],
            options={
                "constraints": [
                    models.UniqueConstraint(fields=("practice", "starting_year"), name="audit_year_once"),
                    models.CheckConstraint(
                        condition=models.Q(("starting_year__gte", 1900), ("starting_year__lte", 2200)),
                        name="audit_year_range",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("quality_read_at__isnull", True), ("quality_read_by__isnull", True)),
                            models.Q(("quality_read_at__isnull", False), ("quality_read_by__isnull", False)),
                            _connector="OR",
                        ),
                        name="audityear_quality_read_by_and_at",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(
                                ("standards_confirmed_at__isnull", True), ("standards_confirmed_by__isnull", True)
                            ),
                            models.Q(
                                ("standards_confirmed_at__isnull", False), ("standards_confirmed_by__isnull", False)
                            ),
                            _connector="OR",
                        ),
                        name="audityear_standards_confirmed_by_and_at",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="Action",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                (
                    "key",
                    models.CharField(
                        default=clinic.access.models.random_key, editable=False, max_length=12, unique=True
                    ),
                ),
                ("version", models.PositiveIntegerField(default=1, editable=False)),
                ("what", models.CharField(max_length=300)),
                ("due_on", models.DateField()),
                ("how_known", models.CharField(max_length=300)),
                ("criterion", models.CharField(blank=True, default="", max_length=5)),
                (
                    "state",
                    models.CharField(
                        choices=[("open", "Open"), ("done", "Done"), ("dropped", "Given up")],
                        default="open",
                        max_length=10,
                    ),
                ),
                ("closed_on", models.DateField(blank=True, null=True)),
                ("outcome", models.CharField(blank=True, default="", max_length=300)),
                ("agreed_at", models.DateTimeField()),
                (
                    "agreed_by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
                (
                    "who",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="audit_actions",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "audit_year",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="actions", to="audit.audityear"
                    ),
                ),
            ],
            options={
                "ordering": ("agreed_at", "pk"),
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("what", ""), _negated=True), models.Q(("how_known", ""), _negated=True)
                        ),
                        name="action_says_what_and_how",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("state__in", ["open", "done", "dropped"])), name="action_state_known"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("closed_on__isnull", True), ("outcome", ""), ("state", "open")),
                            models.Q(
                                models.Q(("state", "open"), _negated=True),
                                ("closed_on__isnull", False),
                                models.Q(("outcome", ""), _negated=True),
                            ),
                            _connector="OR",
                        ),
                        name="action_closed_with_its_outcome",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="ChangeNote",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                (
                    "key",
                    models.CharField(
                        default=clinic.access.models.random_key, editable=False, max_length=12, unique=True
                    ),
                ),
                ("version", models.PositiveIntegerField(default=1, editable=False)),
                ("changed_on", models.DateField()),
                ("what", models.CharField(max_length=120)),
                (
                    "noted_by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
                (
                    "practice",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="change_notes", to="clinic.practice"
                    ),
                ),
            ],
            options={
                "ordering": ("changed_on", "pk"),
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("what", ""), _negated=True), name="change_note_says_what"
                    )
                ],
            },
        ),
        migrations.CreateModel(
            name="HistoricalAction",
            fields=[
                ("id", models.BigIntegerField(auto_created=True, blank=True, db_index=True, verbose_name="ID")),
                (
                    "key",
                    models.CharField(
                        db_index=True, default=clinic.access.models.random_key, editable=False, max_length=12
                    ),
                ),
                ("version", models.PositiveIntegerField(default=1, editable=False)),
                ("what", models.CharField(max_length=300)),
                ("due_on", models.DateField()),
                ("how_known", models.CharField(max_length=300)),
                ("criterion", models.CharField(blank=True, default="", max_length=5)),
                (
                    "state",
                    models.CharField(
                        choices=[("open", "Open"), ("done", "Done"), ("dropped", "Given up")],
                        default="open",
                        max_length=10,
                    ),
                ),
                ("closed_on", models.DateField(blank=True, null=True)),
                ("outcome", models.CharField(blank=True, default="", max_length=300)),
                ("agreed_at", models.DateTimeField()),
                ("history_id", models.AutoField(primary_key=True, serialize=False)),
                ("history_date", models.DateTimeField(db_index=True)),
                ("history_change_reason", models.TextField(null=True)),
                (
                    "history_type",
                    models.CharField(choices=[("+", "Created"), ("~", "Changed"), ("-", "Deleted")], max_length=1),
                ),
                (
                    "agreed_by",
                    models.ForeignKey(
                        blank=True,
                        db_constraint=False,
                        null=True,
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "audit_year",
                    models.ForeignKey(
                        blank=True,
                        db_constraint=False,
                        null=True,
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="+",
                        to="audit.audityear",
                    ),
                ),
                (
                    "history_user",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.SET_NULL,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "who",
                    models.ForeignKey(
                        blank=True,
                        db_constraint=False,
                        null=True,
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
            ],
            options={
                "verbose_name": "historical action",
                "verbose_name_plural": "historical actions",
                "ordering": ("-history_date", "-history_id"),
                "get_latest_by": ("history_date", "history_id"),
            },
            bases=(simple_history.models.HistoricalChanges, models.Model),
        ),
        migrations.CreateModel(
            name="HistoricalAuditYear",
            fields=[
                ("id", models.BigIntegerField(auto_created=True, blank=True, db_index=True, verbose_name="ID")),
                (
                    "key",
                    models.CharField(
                        db_index=True, default=clinic.access.models.random_key, editable=False, max_length=12
                    ),
                ),
                ("version", models.PositiveIntegerField(default=1, editable=False)),
                ("starting_year", models.PositiveSmallIntegerField()),
                ("as_of", models.DateField()),
                ("aim", models.TextField(blank=True, default="", max_length=1000)),
                ("context", models.TextField(blank=True, default="", max_length=1000)),
                ("interpretation", models.TextField(blank=True, default="", max_length=4000)),
                ("limitations", models.TextField(blank=True, default="", max_length=2000)),
                ("no_action_reason", models.CharField(blank=True, default="", max_length=300)),
                ("quality_read_at", models.DateTimeField(blank=True, null=True)),
                ("quality_open", models.PositiveIntegerField(default=0)),
                ("standards_confirmed_at", models.DateTimeField(blank=True, null=True)),
                ("standards_digest", models.CharField(blank=True, default="", max_length=64)),
                ("opened_at", models.DateTimeField()),
                ("history_id", models.AutoField(primary_key=True, serialize=False)),
                ("history_date", models.DateTimeField(db_index=True)),
                ("history_change_reason", models.TextField(null=True)),
                (
                    "history_type",
                    models.CharField(choices=[("+", "Created"), ("~", "Changed"), ("-", "Deleted")], max_length=1),
                ),
                (
                    "history_user",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.SET_NULL,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "opened_by",
                    models.ForeignKey(
                        blank=True,
                        db_constraint=False,
                        null=True,
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "practice",
                    models.ForeignKey(
                        blank=True,
                        db_constraint=False,
                        null=True,
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="+",
                        to="clinic.practice",
                    ),
                ),
                (
                    "quality_read_by",
                    models.ForeignKey(
                        blank=True,
                        db_constraint=False,
                        null=True,
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "standards_confirmed_by",
                    models.ForeignKey(
                        blank=True,
                        db_constraint=False,
                        null=True,
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
            ],
            options={
                "verbose_name": "historical audit year",
                "verbose_name_plural": "historical audit years",
                "ordering": ("-history_date", "-history_id"),
                "get_latest_by": ("history_date", "history_id"),
            },
            bases=(simple_history.models.HistoricalChanges, models.Model),
        ),
        migrations.CreateModel(
            name="HistoricalChangeNote",
            fields=[
                ("id", models.BigIntegerField(auto_created=True, blank=True, db_index=True, verbose_name="ID")),
                (
                    "key",
                    models.CharField(
                        db_index=True, default=clinic.access.models.random_key, editable=False, max_length=12
                    ),
                ),
                ("version", models.PositiveIntegerField(default=1, editable=False)),
                ("changed_on", models.DateField()),
                ("what", models.CharField(max_length=120)),
                ("history_id", models.AutoField(primary_key=True, serialize=False)),
                ("history_date", models.DateTimeField(db_index=True)),
                ("history_change_reason", models.TextField(null=True)),
                (
                    "history_type",
                    models.CharField(choices=[("+", "Created"), ("~", "Changed"), ("-", "Deleted")], max_length=1),
                ),
                (
                    "history_user",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.SET_NULL,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "noted_by",
                    models.ForeignKey(
                        blank=True,
                        db_constraint=False,
                        null=True,
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "practice",
                    models.ForeignKey(
                        blank=True,
                        db_constraint=False,
                        null=True,
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="+",
                        to="clinic.practice",
                    ),
                ),
            ],
            options={
                "verbose_name": "historical change note",
                "verbose_name_plural": "historical change notes",
                "ordering": ("-history_date", "-history_id"),
                "get_latest_by": ("history_date", "history_id"),
            },
            bases=(simple_history.models.HistoricalChanges, models.Model),
        ),
        migrations.CreateModel(
            name="HistoricalPracticeStandard",
            fields=[
                ("id", models.BigIntegerField(auto_created=True, blank=True, db_index=True, verbose_name="ID")),
                (
                    "key",
                    models.CharField(
                        db_index=True, default=clinic.access.models.random_key, editable=False, max_length=12
                    ),
                ),
                ("version", models.PositiveIntegerField(default=1, editable=False)),
                ("code", models.CharField(max_length=5)),
                (
                    "direction",
                    models.CharField(
                        choices=[("at_least", "at_least"), ("at_most", "at_most"), ("monitor", "monitor")],
                        max_length=10,
                    ),
                ),
                ("target", models.DecimalField(blank=True, decimal_places=4, max_digits=6, null=True)),
                ("source", models.CharField(max_length=300)),
                ("history_id", models.AutoField(primary_key=True, serialize=False)),
                ("history_date", models.DateTimeField(db_index=True)),
                ("history_change_reason", models.TextField(null=True)),
                (
                    "history_type",
                    models.CharField(choices=[("+", "Created"), ("~", "Changed"), ("-", "Deleted")], max_length=1),
                ),
                (
                    "history_user",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.SET_NULL,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "practice",
                    models.ForeignKey(
                        blank=True,
                        db_constraint=False,
                        null=True,
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="+",
                        to="clinic.practice",
                    ),
                ),
            ],
            options={
                "verbose_name": "historical practice standard",
                "verbose_name_plural": "historical practice standards",
                "ordering": ("-history_date", "-history_id"),
                "get_latest_by": ("history_date", "history_id"),
            },
            bases=(simple_history.models.HistoricalChanges, models.Model),
        ),
        migrations.CreateModel(
            name="PracticeStandard",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                (
                    "key",
                    models.CharField(
                        default=clinic.access.models.random_key, editable=False, max_length=12, unique=True
                    ),
                ),
                ("version", models.PositiveIntegerField(default=1, editable=False)),
                ("code", models.CharField(max_length=5)),
                (
                    "direction",
                    models.CharField(
                        choices=[("at_least", "at_least"), ("at_most", "at_most"), ("monitor", "monitor")],
                        max_length=10,
                    ),
                ),
                ("target", models.DecimalField(blank=True, decimal_places=4, max_digits=6, null=True)),
                ("source", models.CharField(max_length=300)),
                (
                    "practice",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="standards", to="clinic.practice"
                    ),
                ),
            ],
            options={
                "constraints": [
                    models.UniqueConstraint(fields=("practice", "code"), name="standard_once"),
                    models.CheckConstraint(
                        condition=models.Q(("direction__in", ["at_least", "at_most", "monitor"])),
                        name="standard_direction_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("direction", "monitor"), ("target__isnull", True)),
                            models.Q(models.Q(("direction", "monitor"), _negated=True), ("target__isnull", False)),
                            _connector="OR",
                        ),
                        name="standard_target_unless_watched",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("target__isnull", True), models.Q(("target__gte", 0), ("target__lte", 99)), _connector="OR"
                        ),
                        name="standard_target_range",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("source", ""), _negated=True), name="standard_has_a_source"
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="Snapshot",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("checksum", models.CharField(max_length=64)),
                ("packed", models.BinaryField()),
                ("bytes_unpacked", models.PositiveIntegerField()),
                ("definitions_version", models.CharField(max_length=20)),
                ("code_version", models.CharField(max_length=16)),
                ("frozen_at", models.DateTimeField()),
                (
                    "audit_year",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="snapshots", to="audit.audityear"
                    ),
                ),
            ],
            options={
                "constraints": [models.UniqueConstraint(fields=("audit_year", "checksum"), name="snapshot_once")],
            },
        ),
        migrations.CreateModel(
            name="SignedAudit",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("number", models.PositiveSmallIntegerField()),
                ("signed_at", models.DateTimeField()),
                ("preliminary", models.BooleanField()),
                ("html", models.TextField()),
                ("pdf", models.BinaryField(null=True)),
                ("pdf_checksum", models.CharField(blank=True, default="", max_length=64)),
                ("reopened_at", models.DateTimeField(blank=True, null=True)),
                ("reopened_reason", models.CharField(blank=True, default="", max_length=300)),
                (
                    "audit_year",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="signatures", to="audit.audityear"
                    ),
                ),
                (
                    "reopened_by",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "signed_by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
                (
                    "snapshot",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="signatures", to="audit.snapshot"
                    ),
                ),
            ],
            options={
                "ordering": ("number",),
                "constraints": [
                    models.UniqueConstraint(fields=("audit_year", "number"), name="signature_number_once"),
                    models.UniqueConstraint(
                        condition=models.Q(("reopened_at__isnull", True)),
                        fields=("audit_year",),
                        name="signature_one_in_force",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("reopened_at__isnull", True), ("reopened_by__isnull", True)),
                            models.Q(("reopened_at__isnull", False), ("reopened_by__isnull", False)),
                            _connector="OR",
                        ),
                        name="signedaudit_reopened_by_and_at",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("reopened_at__isnull", True), ("reopened_reason", "")),
                            models.Q(("reopened_at__isnull", False), models.Q(("reopened_reason", ""), _negated=True)),
                            _connector="OR",
                        ),
                        name="reopened_with_a_reason",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="StoredFigures",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("question", models.CharField(max_length=64)),
                ("records", models.CharField(max_length=64)),
                ("code_version", models.CharField(max_length=16)),
                ("packed", models.BinaryField()),
                ("counted_at", models.DateTimeField()),
                ("seconds", models.FloatField()),
                (
                    "practice",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE, related_name="+", to="clinic.practice"
                    ),
                ),
            ],
            options={
                "indexes": [models.Index(fields=["practice", "counted_at"], name="audit_store_practic_c00f2f_idx")],
                "constraints": [
                    models.UniqueConstraint(fields=("practice", "question"), name="figures_once_per_question")
                ],
            },
        ),
    ]
