# Made from the models; constraints stand with their table.

import django.db.models.deletion
import simple_history.models
from django.conf import settings
from django.db import migrations, models

import audit.measures.definitions
import audit.peers.models
import clinic.access.models


class Migration(migrations.Migration):
    dependencies = [
        ("audit", "0001_yearly_audit"),
        ("clinic", "0003_handover"),
    ]

    operations = [
        migrations.CreateModel(
            name="Export",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                (
                    "key",
                    models.CharField(
                        default=clinic.access.models.random_key, editable=False, max_length=12, unique=True
                    ),
                ),
                ("version", models.PositiveIntegerField(default=1, editable=False)),
                ("audit_label", models.CharField(max_length=100)),
                ("audit_checksum", models.CharField(max_length=64)),
                ("performed_from", models.DateField()),
                ("performed_to", models.DateField()),
                ("group_code", models.CharField(max_length=10)),
                ("practice_code", models.CharField(max_length=10)),
                ("recipient", models.CharField(max_length=100)),
                ("purpose", models.CharField(max_length=300)),
                ("k", models.PositiveSmallIntegerField()),
                ("harmless_declared", models.BooleanField()),
                ("file", models.BinaryField()),
                ("sha256", models.CharField(max_length=64)),
                ("content", models.CharField(max_length=64)),
                ("rows", models.PositiveIntegerField()),
                ("protection", models.JSONField(default=dict)),
                ("contents", models.JSONField(default=dict)),
                ("tables", models.JSONField(default=list)),
                ("made_at", models.DateTimeField()),
                ("withdrawn_at", models.DateTimeField(blank=True, null=True)),
                ("withdrawn_reason", models.CharField(blank=True, default="", max_length=200)),
                (
                    "made_by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
                (
                    "practice",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="exports", to="clinic.practice"
                    ),
                ),
                (
                    "replaces",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="replaced_by",
                        to="audit.export",
                    ),
                ),
                (
                    "signed",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="exports", to="audit.signedaudit"
                    ),
                ),
                (
                    "signed_before",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="audit.signedaudit",
                    ),
                ),
                (
                    "withdrawn_by",
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
                "ordering": ("made_at", "pk"),
                "constraints": [
                    models.UniqueConstraint(
                        condition=models.Q(("withdrawn_at__isnull", True)),
                        fields=("practice", "audit_checksum", "group_code"),
                        name="export_once_per_audit_and_group",
                    ),
                    models.CheckConstraint(condition=models.Q(("k__gte", 5)), name="export_k_at_least_five"),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("sha256", ""), _negated=True), models.Q(("content", ""), _negated=True)
                        ),
                        name="export_has_checksums",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("withdrawn_at__isnull", True), ("withdrawn_by__isnull", True)),
                            models.Q(
                                ("withdrawn_at__isnull", False),
                                ("withdrawn_by__isnull", False),
                                models.Q(("withdrawn_reason", ""), _negated=True),
                            ),
                            _connector="OR",
                        ),
                        name="export_withdrawn_with_reason",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("performed_to__gte", models.F("performed_from"))), name="export_period"
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="HistoricalExport",
            fields=[
                ("id", models.BigIntegerField(auto_created=True, blank=True, db_index=True, verbose_name="ID")),
                (
                    "key",
                    models.CharField(
                        db_index=True, default=clinic.access.models.random_key, editable=False, max_length=12
                    ),
                ),
                ("version", models.PositiveIntegerField(default=1, editable=False)),
                ("audit_label", models.CharField(max_length=100)),
                ("audit_checksum", models.CharField(max_length=64)),
                ("performed_from", models.DateField()),
                ("performed_to", models.DateField()),
                ("group_code", models.CharField(max_length=10)),
                ("practice_code", models.CharField(max_length=10)),
                ("recipient", models.CharField(max_length=100)),
                ("purpose", models.CharField(max_length=300)),
                ("k", models.PositiveSmallIntegerField()),
                ("harmless_declared", models.BooleanField()),
                ("sha256", models.CharField(max_length=64)),
                ("content", models.CharField(max_length=64)),
                ("rows", models.PositiveIntegerField()),
                ("protection", models.JSONField(default=dict)),
                ("tables", models.JSONField(default=list)),
                ("made_at", models.DateTimeField()),
                ("withdrawn_at", models.DateTimeField(blank=True, null=True)),
                ("withdrawn_reason", models.CharField(blank=True, default="", max_length=200)),
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
                    "made_by",
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
                    "replaces",
                    models.ForeignKey(
                        blank=True,
                        db_constraint=False,
                        null=True,
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="+",
                        to="audit.export",
                    ),
                ),
                (
                    "signed",
                    models.ForeignKey(
                        blank=True,
                        db_constraint=False,
                        null=True,
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="+",
                        to="audit.signedaudit",
                    ),
                ),
                (
                    "signed_before",
                    models.ForeignKey(
                        blank=True,
                        db_constraint=False,
                        null=True,
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="+",
                        to="audit.signedaudit",
                    ),
                ),
                (
                    "withdrawn_by",
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
                "verbose_name": "historical export",
                "verbose_name_plural": "historical exports",
                "ordering": ("-history_date", "-history_id"),
                "get_latest_by": ("history_date", "history_id"),
            },
            bases=(simple_history.models.HistoricalChanges, models.Model),
        ),
        migrations.CreateModel(
            name="HistoricalPeerGroup",
            fields=[
                ("id", models.BigIntegerField(auto_created=True, blank=True, db_index=True, verbose_name="ID")),
                (
                    "key",
                    models.CharField(
                        db_index=True, default=clinic.access.models.random_key, editable=False, max_length=12
                    ),
                ),
                ("version", models.PositiveIntegerField(default=1, editable=False)),
                (
                    "code",
                    models.CharField(
                        db_index=True, default=audit.peers.models.group_code, editable=False, max_length=10
                    ),
                ),
                ("name", models.CharField(max_length=100)),
                ("definitions", models.CharField(max_length=10)),
                ("window", models.CharField(max_length=20)),
                ("outcome", models.CharField(choices=audit.measures.definitions.Outcome.choices, max_length=30)),
                ("unit", models.CharField(choices=audit.measures.definitions.Unit.choices, max_length=10)),
                ("audit_year", models.CharField(blank=True, default="", max_length=15)),
                ("opened_at", models.DateTimeField()),
                ("closed_at", models.DateTimeField(blank=True, null=True)),
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
            ],
            options={
                "verbose_name": "historical peer group",
                "verbose_name_plural": "historical peer groups",
                "ordering": ("-history_date", "-history_id"),
                "get_latest_by": ("history_date", "history_id"),
            },
            bases=(simple_history.models.HistoricalChanges, models.Model),
        ),
        migrations.CreateModel(
            name="Membership",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                (
                    "key",
                    models.CharField(
                        default=clinic.access.models.random_key, editable=False, max_length=12, unique=True
                    ),
                ),
                ("version", models.PositiveIntegerField(default=1, editable=False)),
                ("code", models.CharField(default=audit.peers.models.practice_code, editable=False, max_length=10)),
                ("token_digest", models.CharField(max_length=64, unique=True)),
                ("invited_at", models.DateTimeField()),
                ("expires_at", models.DateTimeField()),
                ("joined_at", models.DateTimeField(blank=True, null=True)),
                ("left_at", models.DateTimeField(blank=True, null=True)),
                (
                    "practice",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="memberships",
                        to="clinic.practice",
                    ),
                ),
            ],
            options={
                "ordering": ("code",),
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("joined_at__isnull", True), ("practice__isnull", True)),
                            models.Q(("joined_at__isnull", False), ("practice__isnull", False)),
                            _connector="OR",
                        ),
                        name="membership_joined_by_a_practice",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("left_at__isnull", True), ("joined_at__isnull", False), _connector="OR"),
                        name="membership_left_after_joining",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="HistoricalTopic",
            fields=[
                ("id", models.BigIntegerField(auto_created=True, blank=True, db_index=True, verbose_name="ID")),
                (
                    "key",
                    models.CharField(
                        db_index=True, default=clinic.access.models.random_key, editable=False, max_length=12
                    ),
                ),
                ("version", models.PositiveIntegerField(default=1, editable=False)),
                ("title", models.CharField(max_length=100)),
                (
                    "state",
                    models.CharField(
                        choices=[("open", "Waits for the practice"), ("answered", "Answered"), ("settled", "Settled")],
                        default="open",
                        max_length=10,
                    ),
                ),
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
                    "membership",
                    models.ForeignKey(
                        blank=True,
                        db_constraint=False,
                        null=True,
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="+",
                        to="audit.membership",
                    ),
                ),
            ],
            options={
                "verbose_name": "historical topic",
                "verbose_name_plural": "historical topics",
                "ordering": ("-history_date", "-history_id"),
                "get_latest_by": ("history_date", "history_id"),
            },
            bases=(simple_history.models.HistoricalChanges, models.Model),
        ),
        migrations.CreateModel(
            name="PeerGroup",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                (
                    "key",
                    models.CharField(
                        default=clinic.access.models.random_key, editable=False, max_length=12, unique=True
                    ),
                ),
                ("version", models.PositiveIntegerField(default=1, editable=False)),
                (
                    "code",
                    models.CharField(default=audit.peers.models.group_code, editable=False, max_length=10, unique=True),
                ),
                ("name", models.CharField(max_length=100)),
                ("definitions", models.CharField(max_length=10)),
                ("window", models.CharField(max_length=20)),
                ("outcome", models.CharField(choices=audit.measures.definitions.Outcome.choices, max_length=30)),
                ("unit", models.CharField(choices=audit.measures.definitions.Unit.choices, max_length=10)),
                ("audit_year", models.CharField(blank=True, default="", max_length=15)),
                ("opened_at", models.DateTimeField()),
                ("closed_at", models.DateTimeField(blank=True, null=True)),
                (
                    "opened_by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
                (
                    "practice",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="peer_groups", to="clinic.practice"
                    ),
                ),
            ],
            options={
                "ordering": ("opened_at", "pk"),
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("outcome__in", ["any_regrowth", "symptomatic_recurrence", "re_operation"])),
                        name="peergroup_outcome_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("unit__in", ["side", "toe", "patient"])), name="peergroup_unit_known"
                    ),
                ],
            },
        ),
        migrations.AddField(
            model_name="membership",
            name="group",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT, related_name="memberships", to="audit.peergroup"
            ),
        ),
        migrations.CreateModel(
            name="HistoricalMembership",
            fields=[
                ("id", models.BigIntegerField(auto_created=True, blank=True, db_index=True, verbose_name="ID")),
                (
                    "key",
                    models.CharField(
                        db_index=True, default=clinic.access.models.random_key, editable=False, max_length=12
                    ),
                ),
                ("version", models.PositiveIntegerField(default=1, editable=False)),
                ("code", models.CharField(default=audit.peers.models.practice_code, editable=False, max_length=10)),
                ("token_digest", models.CharField(db_index=True, max_length=64)),
                ("invited_at", models.DateTimeField()),
                ("expires_at", models.DateTimeField()),
                ("joined_at", models.DateTimeField(blank=True, null=True)),
                ("left_at", models.DateTimeField(blank=True, null=True)),
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
                (
                    "group",
                    models.ForeignKey(
                        blank=True,
                        db_constraint=False,
                        null=True,
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="+",
                        to="audit.peergroup",
                    ),
                ),
            ],
            options={
                "verbose_name": "historical membership",
                "verbose_name_plural": "historical memberships",
                "ordering": ("-history_date", "-history_id"),
                "get_latest_by": ("history_date", "history_id"),
            },
            bases=(simple_history.models.HistoricalChanges, models.Model),
        ),
        migrations.CreateModel(
            name="PeerSet",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                (
                    "key",
                    models.CharField(
                        default=clinic.access.models.random_key, editable=False, max_length=12, unique=True
                    ),
                ),
                ("version", models.PositiveIntegerField(default=1, editable=False)),
                ("manifest", models.JSONField()),
                ("audit_year", models.CharField(max_length=15)),
                ("rows", models.PositiveIntegerField()),
                ("sha256", models.CharField(max_length=64)),
                ("content", models.CharField(max_length=64)),
                ("bare_content", models.CharField(blank=True, default="", max_length=64)),
                ("file", models.BinaryField()),
                (
                    "state",
                    models.CharField(
                        choices=[
                            ("pooled", "In the pool"),
                            ("apart", "Kept, not pooled"),
                            ("replaced", "Replaced by a later set"),
                            ("withdrawn", "Withdrawn"),
                        ],
                        max_length=10,
                    ),
                ),
                ("state_reason", models.CharField(blank=True, default="", max_length=200)),
                ("verified", models.BooleanField()),
                ("received_at", models.DateTimeField()),
                (
                    "membership",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="sets", to="audit.membership"
                    ),
                ),
                (
                    "received_by",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "replaces",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="replaced_by",
                        to="audit.peerset",
                    ),
                ),
            ],
            options={
                "ordering": ("received_at", "pk"),
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("state__in", ["pooled", "apart", "replaced", "withdrawn"])),
                        name="peerset_state_known",
                    ),
                    models.UniqueConstraint(
                        condition=models.Q(("state__in", ["pooled", "apart"])),
                        fields=("membership", "audit_year"),
                        name="peerset_one_standing_per_year",
                    ),
                    models.UniqueConstraint(
                        condition=models.Q(("state__in", ["pooled", "apart"])),
                        fields=("membership", "content"),
                        name="peerset_content_once",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("state", "withdrawn"), _negated=True),
                            models.Q(("state_reason", ""), _negated=True),
                            _connector="OR",
                        ),
                        name="peerset_withdrawn_with_reason",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="HistoricalPeerSet",
            fields=[
                ("id", models.BigIntegerField(auto_created=True, blank=True, db_index=True, verbose_name="ID")),
                (
                    "key",
                    models.CharField(
                        db_index=True, default=clinic.access.models.random_key, editable=False, max_length=12
                    ),
                ),
                ("version", models.PositiveIntegerField(default=1, editable=False)),
                ("manifest", models.JSONField()),
                ("audit_year", models.CharField(max_length=15)),
                ("rows", models.PositiveIntegerField()),
                ("sha256", models.CharField(max_length=64)),
                ("content", models.CharField(max_length=64)),
                ("bare_content", models.CharField(blank=True, default="", max_length=64)),
                (
                    "state",
                    models.CharField(
                        choices=[
                            ("pooled", "In the pool"),
                            ("apart", "Kept, not pooled"),
                            ("replaced", "Replaced by a later set"),
                            ("withdrawn", "Withdrawn"),
                        ],
                        max_length=10,
                    ),
                ),
                ("state_reason", models.CharField(blank=True, default="", max_length=200)),
                ("verified", models.BooleanField()),
                ("received_at", models.DateTimeField()),
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
                    "received_by",
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
                    "membership",
                    models.ForeignKey(
                        blank=True,
                        db_constraint=False,
                        null=True,
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="+",
                        to="audit.membership",
                    ),
                ),
                (
                    "replaces",
                    models.ForeignKey(
                        blank=True,
                        db_constraint=False,
                        null=True,
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="+",
                        to="audit.peerset",
                    ),
                ),
            ],
            options={
                "verbose_name": "historical peer set",
                "verbose_name_plural": "historical peer sets",
                "ordering": ("-history_date", "-history_id"),
                "get_latest_by": ("history_date", "history_id"),
            },
            bases=(simple_history.models.HistoricalChanges, models.Model),
        ),
        migrations.CreateModel(
            name="Refusal",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                (
                    "key",
                    models.CharField(
                        default=clinic.access.models.random_key, editable=False, max_length=12, unique=True
                    ),
                ),
                ("at", models.DateTimeField()),
                ("sha256", models.CharField(max_length=64)),
                ("sentences", models.JSONField()),
                ("total", models.PositiveIntegerField()),
                (
                    "by",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "group",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="refusals", to="audit.peergroup"
                    ),
                ),
                (
                    "membership",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="refusals",
                        to="audit.membership",
                    ),
                ),
            ],
            options={
                "ordering": ("at", "pk"),
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("total__gte", 1), ("total__lte", 1000000000)),
                            ("total__isnull", True),
                            _connector="OR",
                        ),
                        name="refusal_total_range",
                    )
                ],
            },
        ),
        migrations.CreateModel(
            name="Taking",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("at", models.DateTimeField()),
                (
                    "what",
                    models.CharField(
                        choices=[
                            ("export", "Peer export"),
                            ("tables", "Tables that may be published"),
                            ("original", "Received set"),
                            ("report", "Group report"),
                            ("pooled", "Pooled numbers or picture"),
                        ],
                        max_length=10,
                    ),
                ),
                ("about", models.CharField(blank=True, default="", max_length=100)),
                ("sha256", models.CharField(blank=True, default="", max_length=64)),
                ("by_command", models.BooleanField(default=False)),
                (
                    "export",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="takings",
                        to="audit.export",
                    ),
                ),
                (
                    "member",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "practice",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="takings", to="clinic.practice"
                    ),
                ),
            ],
            options={
                "ordering": ("at", "pk"),
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("what__in", ["export", "tables", "original", "report", "pooled"])),
                        name="taking_what_known",
                    )
                ],
            },
        ),
        migrations.CreateModel(
            name="Topic",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                (
                    "key",
                    models.CharField(
                        default=clinic.access.models.random_key, editable=False, max_length=12, unique=True
                    ),
                ),
                ("version", models.PositiveIntegerField(default=1, editable=False)),
                ("title", models.CharField(max_length=100)),
                (
                    "state",
                    models.CharField(
                        choices=[("open", "Waits for the practice"), ("answered", "Answered"), ("settled", "Settled")],
                        default="open",
                        max_length=10,
                    ),
                ),
                ("opened_at", models.DateTimeField()),
                (
                    "membership",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="topics", to="audit.membership"
                    ),
                ),
            ],
            options={
                "ordering": ("opened_at", "pk"),
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("state__in", ["open", "answered", "settled"])), name="topic_state_known"
                    )
                ],
            },
        ),
        migrations.CreateModel(
            name="Remark",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("from_practice", models.BooleanField()),
                ("at", models.DateTimeField()),
                ("text", models.TextField(max_length=1000)),
                (
                    "by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
                (
                    "topic",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="remarks", to="audit.topic"
                    ),
                ),
            ],
            options={
                "ordering": ("at", "pk"),
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("text", ""), _negated=True), name="remark_says_something"
                    )
                ],
            },
        ),
        migrations.AddConstraint(
            model_name="membership",
            constraint=models.UniqueConstraint(fields=("group", "code"), name="membership_code_once"),
        ),
        migrations.AddConstraint(
            model_name="membership",
            constraint=models.UniqueConstraint(fields=("group", "practice"), name="membership_practice_once"),
        ),
    ]
