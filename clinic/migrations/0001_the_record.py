# Made from the models. Constraints stand with their table: adding them one by one takes ten times as long.

import datetime

import django.contrib.auth.models
import django.contrib.auth.validators
import django.db.models.deletion
import django.db.models.functions.text
import django.utils.timezone
import simple_history.models
from django.conf import settings
from django.db import migrations, models

import clinic.access.models
import clinic.patients.sealed
import clinic.photographs.models
import clinic.vocabulary.photograph
import clinic.vocabulary.preparation
import clinic.vocabulary.procedure
import clinic.vocabulary.redflag
import clinic.vocabulary.review
import clinic.vocabulary.sites
import clinic.vocabulary.theatre


class Migration(migrations.Migration):
    initial = True

    dependencies = [
        ("auth", "0012_alter_user_first_name_max_length"),
    ]

    operations = [
        migrations.CreateModel(
            name="OperationTemplate",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                (
                    "key",
                    models.CharField(
                        default=clinic.access.models.random_key, editable=False, max_length=12, unique=True
                    ),
                ),
                ("version", models.PositiveIntegerField(default=1, editable=False)),
                ("name", models.CharField(max_length=60)),
                ("offered", models.BooleanField(default=True)),
                ("technique", models.CharField(choices=clinic.vocabulary.procedure.Technique.choices, max_length=20)),
                (
                    "agent",
                    models.CharField(
                        blank=True, choices=clinic.vocabulary.procedure.Agent.choices, default="", max_length=20
                    ),
                ),
                ("strength_percent", models.DecimalField(blank=True, decimal_places=1, max_digits=4, null=True)),
                (
                    "strength_basis",
                    models.CharField(
                        blank=True, choices=clinic.vocabulary.procedure.StrengthBasis.choices, default="", max_length=15
                    ),
                ),
                (
                    "lavage",
                    models.CharField(
                        blank=True, choices=clinic.vocabulary.procedure.Lavage.choices, default="", max_length=15
                    ),
                ),
                (
                    "tourniquet",
                    models.CharField(
                        blank=True, choices=clinic.vocabulary.procedure.Tourniquet.choices, default="", max_length=15
                    ),
                ),
                (
                    "skin_protected",
                    models.CharField(
                        blank=True, choices=clinic.vocabulary.procedure.Answer.choices, default="", max_length=15
                    ),
                ),
                (
                    "haemostasis",
                    models.CharField(
                        blank=True, choices=clinic.vocabulary.theatre.Haemostasis.choices, default="", max_length=15
                    ),
                ),
                (
                    "dressing",
                    models.CharField(
                        blank=True, choices=clinic.vocabulary.theatre.Dressing.choices, default="", max_length=15
                    ),
                ),
                (
                    "outer_dressing",
                    models.CharField(
                        blank=True, choices=clinic.vocabulary.theatre.OuterDressing.choices, default="", max_length=15
                    ),
                ),
                (
                    "aftercare",
                    models.CharField(
                        blank=True, choices=clinic.vocabulary.theatre.Aftercare.choices, default="", max_length=15
                    ),
                ),
                ("aftercare_sheet", models.CharField(blank=True, default="", max_length=60)),
            ],
            options={
                "constraints": [
                    models.CheckConstraint(condition=models.Q(("name", ""), _negated=True), name="template_has_a_name"),
                    models.CheckConstraint(
                        condition=models.Q(
                            (
                                "technique__in",
                                [
                                    "pna_chemical",
                                    "pna_only",
                                    "tna_chemical",
                                    "tna_only",
                                    "wedge",
                                    "matrix_excision",
                                    "excision_other",
                                    "electro",
                                    "laser",
                                    "combined",
                                    "other",
                                ],
                            )
                        ),
                        name="template_technique_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            (
                                "agent__in",
                                ["", "phenol", "sodium_hydroxide", "tca", "bca", "other", "none", "not_recorded"],
                            )
                        ),
                        name="template_agent_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("strength_percent__gte", 0.1), ("strength_percent__lte", 100)),
                            ("strength_percent__isnull", True),
                            _connector="OR",
                        ),
                        name="template_strength_percent_range",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("strength_basis__in", ["", "w_w", "w_v", "not_recorded", "not_applicable"])
                        ),
                        name="template_strength_basis_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            (
                                "lavage__in",
                                [
                                    "",
                                    "none",
                                    "isopropyl",
                                    "ethanol",
                                    "saline",
                                    "chlorhexidine",
                                    "polihexanide",
                                    "dilute_acid",
                                    "not_recorded",
                                ],
                            )
                        ),
                        name="template_lavage_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            (
                                "tourniquet__in",
                                [
                                    "",
                                    "ring",
                                    "drain_clamp",
                                    "band_clamp",
                                    "glove_finger",
                                    "other",
                                    "none",
                                    "not_recorded",
                                ],
                            )
                        ),
                        name="template_tourniquet_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("skin_protected__in", ["", "yes", "no", "not_assessed", "not_applicable", "not_recorded"])
                        ),
                        name="template_skin_protected_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            (
                                "haemostasis__in",
                                [
                                    "",
                                    "pressure",
                                    "alginate",
                                    "silver_nitrate",
                                    "ferric",
                                    "aluminium",
                                    "electro",
                                    "suture",
                                    "none",
                                    "not_recorded",
                                ],
                            )
                        ),
                        name="template_haemostasis_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            (
                                "dressing__in",
                                [
                                    "",
                                    "non_adherent",
                                    "alginate",
                                    "hydrofibre",
                                    "foam",
                                    "hydrogel",
                                    "iodine",
                                    "honey",
                                    "silver",
                                    "gauze",
                                    "other",
                                    "not_recorded",
                                ],
                            )
                        ),
                        name="template_dressing_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("outer_dressing__in", ["", "tubular", "conforming", "cohesive", "none", "not_recorded"])
                        ),
                        name="template_outer_dressing_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("aftercare__in", ["", "both", "spoken", "written", "not_given", "not_recorded"])
                        ),
                        name="template_aftercare_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("technique__in", ["pna_chemical", "tna_chemical", "combined"]),
                            models.Q(
                                ("agent", ""),
                                ("lavage", ""),
                                ("skin_protected", ""),
                                ("strength_basis", ""),
                                ("strength_percent__isnull", True),
                            ),
                            _connector="OR",
                        ),
                        name="template_agent_fits_technique",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("strength_percent__isnull", True),
                            models.Q(
                                models.Q(("agent", ""), _negated=True), models.Q(("strength_basis", ""), _negated=True)
                            ),
                            _connector="OR",
                        ),
                        name="template_strength_of_an_agent",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="Patient",
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
                    "sex",
                    models.CharField(
                        choices=clinic.vocabulary.procedure.Sex.choices,
                        default=clinic.vocabulary.procedure.Sex["NOT_RECORDED"],
                        max_length=15,
                    ),
                ),
                (
                    "diabetes",
                    models.CharField(
                        choices=clinic.vocabulary.procedure.Answer.choices,
                        default=clinic.vocabulary.procedure.Answer["NOT_RECORDED"],
                        max_length=15,
                    ),
                ),
                (
                    "antithrombotic",
                    models.CharField(
                        choices=clinic.vocabulary.procedure.Answer.choices,
                        default=clinic.vocabulary.procedure.Answer["NOT_RECORDED"],
                        max_length=15,
                    ),
                ),
                (
                    "poor_circulation",
                    models.CharField(
                        choices=clinic.vocabulary.procedure.Answer.choices,
                        default=clinic.vocabulary.procedure.Answer["NOT_RECORDED"],
                        max_length=15,
                    ),
                ),
                (
                    "immunosuppressed",
                    models.CharField(
                        choices=clinic.vocabulary.procedure.Answer.choices,
                        default=clinic.vocabulary.procedure.Answer["NOT_RECORDED"],
                        max_length=15,
                    ),
                ),
                ("no_contact_wished", models.BooleanField(default=False)),
                ("died_on", models.DateField(blank=True, null=True)),
            ],
            options={
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("sex__in", ["female", "male", "other", "not_recorded"])),
                        name="patient_sex_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("diabetes__in", ["yes", "no", "not_assessed", "not_applicable", "not_recorded"])
                        ),
                        name="patient_diabetes_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("antithrombotic__in", ["yes", "no", "not_assessed", "not_applicable", "not_recorded"])
                        ),
                        name="patient_antithrombotic_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("poor_circulation__in", ["yes", "no", "not_assessed", "not_applicable", "not_recorded"])
                        ),
                        name="patient_poor_circulation_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("immunosuppressed__in", ["yes", "no", "not_assessed", "not_applicable", "not_recorded"])
                        ),
                        name="patient_immunosuppressed_known",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="SignInThrottle",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("digest", models.CharField(max_length=64, unique=True)),
                ("failures", models.PositiveIntegerField(default=0)),
                ("wait_until_at", models.DateTimeField(null=True)),
                ("last_failed_at", models.DateTimeField(null=True)),
            ],
        ),
        migrations.CreateModel(
            name="Member",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("password", models.CharField(max_length=128, verbose_name="password")),
                ("last_login", models.DateTimeField(blank=True, null=True, verbose_name="last login")),
                (
                    "is_superuser",
                    models.BooleanField(
                        default=False,
                        help_text="Designates that this user has all permissions without explicitly assigning them.",
                        verbose_name="superuser status",
                    ),
                ),
                (
                    "username",
                    models.CharField(
                        error_messages={"unique": "A user with that username already exists."},
                        help_text="Required. 150 characters or fewer. Letters, digits and @/./+/-/_ only.",
                        max_length=150,
                        unique=True,
                        validators=[django.contrib.auth.validators.UnicodeUsernameValidator()],
                        verbose_name="username",
                    ),
                ),
                ("first_name", models.CharField(blank=True, max_length=150, verbose_name="first name")),
                ("last_name", models.CharField(blank=True, max_length=150, verbose_name="last name")),
                ("email", models.EmailField(blank=True, max_length=254, verbose_name="email address")),
                (
                    "is_staff",
                    models.BooleanField(
                        default=False,
                        help_text="Designates whether the user can log into this admin site.",
                        verbose_name="staff status",
                    ),
                ),
                (
                    "is_active",
                    models.BooleanField(
                        default=True,
                        help_text="Designates whether this user should be treated as active. Unselect this instead of deleting accounts.",
                        verbose_name="active",
                    ),
                ),
                ("date_joined", models.DateTimeField(default=django.utils.timezone.now, verbose_name="date joined")),
                (
                    "key",
                    models.CharField(
                        default=clinic.access.models.random_key, editable=False, max_length=12, unique=True
                    ),
                ),
                (
                    "role",
                    models.CharField(
                        choices=[
                            ("practitioner", "Practitioner"),
                            ("assistant", "Assistant"),
                            ("reception", "Reception"),
                            ("lead", "Practice lead"),
                            ("administrator", "Administrator"),
                            ("reviewer", "Peer reviewer"),
                        ],
                        default="assistant",
                        max_length=20,
                    ),
                ),
                (
                    "theme",
                    models.CharField(
                        blank=True,
                        choices=[("", "As device"), ("light", "Light"), ("dark", "Dark")],
                        default="",
                        max_length=5,
                    ),
                ),
                ("slash_finds", models.BooleanField(default=True)),
                (
                    "groups",
                    models.ManyToManyField(
                        blank=True,
                        help_text="The groups this user belongs to. A user will get all permissions granted to each of their groups.",
                        related_name="user_set",
                        related_query_name="user",
                        to="auth.group",
                        verbose_name="groups",
                    ),
                ),
                (
                    "user_permissions",
                    models.ManyToManyField(
                        blank=True,
                        help_text="Specific permissions for this user.",
                        related_name="user_set",
                        related_query_name="user",
                        to="auth.permission",
                        verbose_name="user permissions",
                    ),
                ),
            ],
            options={
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(
                            (
                                "role__in",
                                ["practitioner", "assistant", "reception", "lead", "administrator", "reviewer"],
                            )
                        ),
                        name="member_role_known",
                    )
                ],
            },
            managers=[
                ("objects", django.contrib.auth.models.UserManager()),
            ],
        ),
        migrations.CreateModel(
            name="Assessment",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                (
                    "key",
                    models.CharField(
                        default=clinic.access.models.random_key, editable=False, max_length=12, unique=True
                    ),
                ),
                ("version", models.PositiveIntegerField(default=1, editable=False)),
                ("struck_at", models.DateTimeField(blank=True, editable=False, null=True)),
                ("struck_reason", models.CharField(blank=True, default="", editable=False, max_length=200)),
                ("recorded_at", models.DateTimeField()),
                ("assessed_on", models.DateField()),
                (
                    "indication",
                    models.CharField(choices=clinic.vocabulary.preparation.Indication.choices, max_length=20),
                ),
                ("indication_other", models.CharField(blank=True, default="", max_length=200)),
                ("symptoms_weeks", models.PositiveSmallIntegerField(blank=True, null=True)),
                (
                    "diabetes",
                    models.CharField(
                        choices=clinic.vocabulary.preparation.Diabetes.choices,
                        default=clinic.vocabulary.procedure.Answer["NOT_RECORDED"],
                        max_length=20,
                    ),
                ),
                (
                    "foot_risk",
                    models.CharField(
                        choices=clinic.vocabulary.preparation.FootRisk.choices,
                        default=clinic.vocabulary.procedure.Answer["NOT_RECORDED"],
                        max_length=20,
                    ),
                ),
                ("hba1c", models.DecimalField(blank=True, decimal_places=1, max_digits=4, null=True)),
                (
                    "hba1c_unit",
                    models.CharField(
                        blank=True, choices=clinic.vocabulary.preparation.Hba1cUnit.choices, default="", max_length=10
                    ),
                ),
                ("hba1c_on", models.DateField(blank=True, null=True)),
                ("inr", models.DecimalField(blank=True, decimal_places=1, max_digits=3, null=True)),
                ("inr_on", models.DateField(blank=True, null=True)),
                (
                    "immunosuppression",
                    models.CharField(
                        choices=clinic.vocabulary.preparation.Immunosuppression.choices,
                        default=clinic.vocabulary.procedure.Answer["NOT_RECORDED"],
                        max_length=20,
                    ),
                ),
                (
                    "pregnancy",
                    models.CharField(
                        choices=clinic.vocabulary.preparation.Pregnancy.choices,
                        default=clinic.vocabulary.procedure.Answer["NOT_RECORDED"],
                        max_length=20,
                    ),
                ),
                (
                    "breastfeeding",
                    models.CharField(
                        choices=clinic.vocabulary.preparation.Pregnancy.choices,
                        default=clinic.vocabulary.procedure.Answer["NOT_RECORDED"],
                        max_length=20,
                    ),
                ),
                (
                    "tobacco",
                    models.CharField(
                        choices=clinic.vocabulary.preparation.Tobacco.choices,
                        default=clinic.vocabulary.procedure.Answer["NOT_RECORDED"],
                        max_length=20,
                    ),
                ),
                (
                    "allergy_words",
                    models.CharField(blank=True, default="", help_text="Which, and what happened.", max_length=300),
                ),
                ("weight_kg", models.DecimalField(blank=True, decimal_places=1, max_digits=4, null=True)),
                (
                    "weight_basis",
                    models.CharField(
                        choices=clinic.vocabulary.preparation.WeightBasis.choices,
                        default=clinic.vocabulary.procedure.Answer["NOT_RECORDED"],
                        max_length=20,
                    ),
                ),
                ("weight_on", models.DateField(blank=True, null=True)),
                ("note", models.TextField(blank=True, default="", max_length=2000)),
                (
                    "assessed_by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="assessments",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "recorded_by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
                (
                    "patient",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="assessments", to="clinic.patient"
                    ),
                ),
            ],
            options={
                "ordering": ("assessed_on", "pk"),
                "indexes": [models.Index(fields=["patient", "assessed_on"], name="clinic_asse_patient_6c9c99_idx")],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("assessed_on__gte", datetime.date(1900, 1, 1))),
                        name="assessment_not_before_1900",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            (
                                "indication__in",
                                [
                                    "onychocryptosis",
                                    "paronychia",
                                    "involuted",
                                    "onychogryphosis",
                                    "hypertrophy",
                                    "onychophosis",
                                    "traumatic",
                                    "recurrence",
                                    "other",
                                ],
                            )
                        ),
                        name="assessment_indication_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("indication", "other"), _negated=True),
                            models.Q(("indication_other", ""), _negated=True),
                            _connector="OR",
                        ),
                        name="assessment_other_indication_said",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("symptoms_weeks__gte", 0), ("symptoms_weeks__lte", 1000)),
                            ("symptoms_weeks__isnull", True),
                            _connector="OR",
                        ),
                        name="assessment_symptoms_weeks_range",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("diabetes__in", ["none", "type_1", "type_2", "other", "not_assessed", "not_recorded"])
                        ),
                        name="assessment_diabetes_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            (
                                "foot_risk__in",
                                ["low", "moderate", "high", "active", "not_assessed", "not_applicable", "not_recorded"],
                            )
                        ),
                        name="assessment_foot_risk_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("hba1c__isnull", True), ("hba1c_unit", "")),
                            models.Q(
                                ("hba1c__isnull", False),
                                models.Q(
                                    models.Q(("hba1c__gte", 20), ("hba1c__lte", 200), ("hba1c_unit", "mmol_mol")),
                                    models.Q(("hba1c__gte", 4), ("hba1c__lte", 20), ("hba1c_unit", "percent")),
                                    _connector="OR",
                                ),
                            ),
                            _connector="OR",
                        ),
                        name="assessment_hba1c_range_of_unit",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("hba1c_on__isnull", True), ("hba1c__isnull", False), _connector="OR"),
                        name="assessment_hba1c_on_has_hba1c",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("hba1c_on__isnull", True), ("hba1c_on__lte", models.F("assessed_on")), _connector="OR"
                        ),
                        name="assessment_hba1c_on_by_then",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("inr__gte", 0.5), ("inr__lte", 10)), ("inr__isnull", True), _connector="OR"
                        ),
                        name="assessment_inr_range",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("inr_on__isnull", True), ("inr__isnull", False), _connector="OR"),
                        name="assessment_inr_on_has_inr",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("inr_on__isnull", True), ("inr_on__lte", models.F("assessed_on")), _connector="OR"
                        ),
                        name="assessment_inr_on_by_then",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            (
                                "immunosuppression__in",
                                [
                                    "none",
                                    "steroid",
                                    "biologic",
                                    "chemotherapy",
                                    "other_medicine",
                                    "disease",
                                    "several",
                                    "not_assessed",
                                    "not_recorded",
                                ],
                            )
                        ),
                        name="assessment_immunosuppression_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            (
                                "pregnancy__in",
                                ["yes", "no", "declined", "not_applicable", "not_assessed", "not_recorded"],
                            )
                        ),
                        name="assessment_pregnancy_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            (
                                "breastfeeding__in",
                                ["yes", "no", "declined", "not_applicable", "not_assessed", "not_recorded"],
                            )
                        ),
                        name="assessment_breastfeeding_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("tobacco__in", ["never", "ex", "current", "not_assessed", "not_recorded"])),
                        name="assessment_tobacco_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("weight_kg__gte", 5), ("weight_kg__lte", 300)),
                            ("weight_kg__isnull", True),
                            _connector="OR",
                        ),
                        name="assessment_weight_kg_range",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("weight_basis__in", ["measured", "stated", "not_recorded"])),
                        name="assessment_weight_basis_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("weight_on__isnull", True), ("weight_kg__isnull", False), _connector="OR"),
                        name="assessment_weight_on_has_weight_kg",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("weight_on__isnull", True), ("weight_on__lte", models.F("assessed_on")), _connector="OR"
                        ),
                        name="assessment_weight_on_by_then",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="ChecklistPhase",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                (
                    "key",
                    models.CharField(
                        default=clinic.access.models.random_key, editable=False, max_length=12, unique=True
                    ),
                ),
                ("version", models.PositiveIntegerField(default=1, editable=False)),
                ("phase", models.CharField(choices=clinic.vocabulary.theatre.Phase.choices, max_length=20)),
                ("timing", models.CharField(choices=clinic.vocabulary.theatre.PhaseTiming.choices, max_length=12)),
                ("completed_at", models.DateTimeField()),
                ("second_initials", models.CharField(max_length=10)),
                ("note", models.CharField(blank=True, default="", max_length=500)),
                (
                    "by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
            ],
            options={
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("phase__in", ["before_anaesthesia", "before_incision", "before_leaving"])),
                        name="phase_phase_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("timing__in", ["live", "afterwards"])), name="phase_timing_known"
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="Consent",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                (
                    "key",
                    models.CharField(
                        default=clinic.access.models.random_key, editable=False, max_length=12, unique=True
                    ),
                ),
                ("version", models.PositiveIntegerField(default=1, editable=False)),
                ("struck_at", models.DateTimeField(blank=True, editable=False, null=True)),
                ("struck_reason", models.CharField(blank=True, default="", editable=False, max_length=200)),
                ("recorded_at", models.DateTimeField()),
                ("foot", models.CharField(choices=clinic.vocabulary.procedure.Foot.choices, max_length=5)),
                ("toe", models.PositiveSmallIntegerField()),
                ("part", models.CharField(choices=clinic.vocabulary.sites.NailPart.choices, max_length=10)),
                (
                    "intent",
                    models.CharField(choices=clinic.vocabulary.preparation.ConsentIntent.choices, max_length=10),
                ),
                ("given_by", models.CharField(choices=clinic.vocabulary.procedure.ConsentGiver.choices, max_length=15)),
                ("discussed_on", models.DateField()),
                ("reconfirmed_on", models.DateField(blank=True, null=True)),
                ("withdrawn_on", models.DateField(blank=True, null=True)),
                (
                    "photographs",
                    models.CharField(
                        choices=clinic.vocabulary.procedure.Answer.choices,
                        default=clinic.vocabulary.procedure.Answer["NOT_RECORDED"],
                        max_length=20,
                    ),
                ),
                (
                    "interpreter",
                    models.CharField(
                        choices=clinic.vocabulary.preparation.Interpreter.choices,
                        default=clinic.vocabulary.procedure.Answer["NOT_RECORDED"],
                        max_length=20,
                    ),
                ),
                ("note", models.TextField(blank=True, default="", max_length=2000)),
                (
                    "discussed_by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="consents_discussed",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "reconfirmed_by",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="consents_reconfirmed",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "recorded_by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
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
                (
                    "patient",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="consents", to="clinic.patient"
                    ),
                ),
            ],
            options={
                "ordering": ("discussed_on", "pk"),
                "indexes": [models.Index(fields=["patient", "foot", "toe"], name="clinic_cons_patient_0499ec_idx")],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("foot__in", ["right", "left"])), name="consent_foot_known"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("toe__gte", 1), ("toe__lte", 5)), ("toe__isnull", True), _connector="OR"
                        ),
                        name="consent_toe_range",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("part__in", ["tibial", "fibular", "both", "whole"])),
                        name="consent_part_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("intent__in", ["temporary", "permanent"])), name="consent_intent_known"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("given_by__in", ["patient", "parent", "other", "not_recorded"])),
                        name="consent_given_by_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("discussed_on__gte", datetime.date(1900, 1, 1))),
                        name="consent_not_before_1900",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(
                                ("reconfirmed_by__isnull", False),
                                ("reconfirmed_on__gte", models.F("discussed_on")),
                                ("reconfirmed_on__isnull", False),
                            ),
                            models.Q(("reconfirmed_by__isnull", True), ("reconfirmed_on__isnull", True)),
                            _connector="OR",
                        ),
                        name="consent_reconfirmed_by_and_on",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(
                                ("withdrawn_by__isnull", False),
                                ("withdrawn_on__gte", models.F("discussed_on")),
                                ("withdrawn_on__isnull", False),
                            ),
                            models.Q(("withdrawn_by__isnull", True), ("withdrawn_on__isnull", True)),
                            _connector="OR",
                        ),
                        name="consent_withdrawn_by_and_on",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("photographs__in", ["yes", "no", "not_assessed", "not_applicable", "not_recorded"])
                        ),
                        name="consent_photographs_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("interpreter__in", ["not_needed", "interpreter", "family", "not_there", "not_recorded"])
                        ),
                        name="consent_interpreter_known",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="HistoricalAssessedToe",
            fields=[
                ("id", models.BigIntegerField(auto_created=True, blank=True, db_index=True, verbose_name="ID")),
                ("foot", models.CharField(choices=clinic.vocabulary.procedure.Foot.choices, max_length=5)),
                ("toe", models.PositiveSmallIntegerField()),
                (
                    "infection",
                    models.CharField(
                        choices=clinic.vocabulary.procedure.LocalInfection.choices,
                        default=clinic.vocabulary.procedure.Answer["NOT_RECORDED"],
                        max_length=20,
                    ),
                ),
                (
                    "bone_infection",
                    models.CharField(
                        choices=clinic.vocabulary.procedure.Answer.choices,
                        default=clinic.vocabulary.procedure.Answer["NOT_RECORDED"],
                        max_length=20,
                    ),
                ),
                (
                    "prior_surgery",
                    models.CharField(
                        choices=clinic.vocabulary.preparation.PriorSurgery.choices,
                        default=clinic.vocabulary.procedure.Answer["NOT_RECORDED"],
                        max_length=20,
                    ),
                ),
                (
                    "prior_part",
                    models.CharField(
                        blank=True, choices=clinic.vocabulary.sites.NailPart.choices, default="", max_length=10
                    ),
                ),
                ("prior_year", models.PositiveSmallIntegerField(blank=True, null=True)),
                (
                    "prior_elsewhere",
                    models.CharField(
                        choices=clinic.vocabulary.procedure.Answer.choices,
                        default=clinic.vocabulary.procedure.Answer["NOT_RECORDED"],
                        max_length=20,
                    ),
                ),
                ("history_id", models.AutoField(primary_key=True, serialize=False)),
                ("history_date", models.DateTimeField(db_index=True)),
                ("history_change_reason", models.TextField(null=True)),
                (
                    "history_type",
                    models.CharField(choices=[("+", "Created"), ("~", "Changed"), ("-", "Deleted")], max_length=1),
                ),
                (
                    "assessment",
                    models.ForeignKey(
                        blank=True,
                        db_constraint=False,
                        null=True,
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="+",
                        to="clinic.assessment",
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
            ],
            options={
                "verbose_name": "historical assessed toe",
                "verbose_name_plural": "historical assessed toes",
                "ordering": ("-history_date", "-history_id"),
                "get_latest_by": ("history_date", "history_id"),
            },
            bases=(simple_history.models.HistoricalChanges, models.Model),
        ),
        migrations.CreateModel(
            name="HistoricalAssessmentItem",
            fields=[
                ("id", models.BigIntegerField(auto_created=True, blank=True, db_index=True, verbose_name="ID")),
                ("topic", models.CharField(choices=clinic.vocabulary.preparation.Topic.choices, max_length=20)),
                ("code", models.CharField(max_length=20)),
                (
                    "answer",
                    models.CharField(
                        choices=clinic.vocabulary.procedure.Answer.choices,
                        default=clinic.vocabulary.procedure.Answer["NOT_RECORDED"],
                        max_length=20,
                    ),
                ),
                (
                    "reaction",
                    models.CharField(
                        blank=True, choices=clinic.vocabulary.preparation.Reaction.choices, default="", max_length=20
                    ),
                ),
                ("history_id", models.AutoField(primary_key=True, serialize=False)),
                ("history_date", models.DateTimeField(db_index=True)),
                ("history_change_reason", models.TextField(null=True)),
                (
                    "history_type",
                    models.CharField(choices=[("+", "Created"), ("~", "Changed"), ("-", "Deleted")], max_length=1),
                ),
                (
                    "assessment",
                    models.ForeignKey(
                        blank=True,
                        db_constraint=False,
                        null=True,
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="+",
                        to="clinic.assessment",
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
            ],
            options={
                "verbose_name": "historical assessment item",
                "verbose_name_plural": "historical assessment items",
                "ordering": ("-history_date", "-history_id"),
                "get_latest_by": ("history_date", "history_id"),
            },
            bases=(simple_history.models.HistoricalChanges, models.Model),
        ),
        migrations.CreateModel(
            name="HistoricalCheckedItem",
            fields=[
                ("id", models.BigIntegerField(auto_created=True, blank=True, db_index=True, verbose_name="ID")),
                ("code", models.CharField(max_length=20)),
                ("wording", models.CharField(max_length=200)),
                ("answer", models.CharField(choices=clinic.vocabulary.theatre.CheckAnswer.choices, max_length=15)),
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
                    "phase",
                    models.ForeignKey(
                        blank=True,
                        db_constraint=False,
                        null=True,
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="+",
                        to="clinic.checklistphase",
                    ),
                ),
            ],
            options={
                "verbose_name": "historical checked item",
                "verbose_name_plural": "historical checked items",
                "ordering": ("-history_date", "-history_id"),
                "get_latest_by": ("history_date", "history_id"),
            },
            bases=(simple_history.models.HistoricalChanges, models.Model),
        ),
        migrations.CreateModel(
            name="HistoricalConsentElement",
            fields=[
                ("id", models.BigIntegerField(auto_created=True, blank=True, db_index=True, verbose_name="ID")),
                ("code", models.CharField(choices=clinic.vocabulary.preparation.ConsentPoint.choices, max_length=20)),
                ("history_id", models.AutoField(primary_key=True, serialize=False)),
                ("history_date", models.DateTimeField(db_index=True)),
                ("history_change_reason", models.TextField(null=True)),
                (
                    "history_type",
                    models.CharField(choices=[("+", "Created"), ("~", "Changed"), ("-", "Deleted")], max_length=1),
                ),
                (
                    "consent",
                    models.ForeignKey(
                        blank=True,
                        db_constraint=False,
                        null=True,
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="+",
                        to="clinic.consent",
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
            ],
            options={
                "verbose_name": "historical consent element",
                "verbose_name_plural": "historical consent elements",
                "ordering": ("-history_date", "-history_id"),
                "get_latest_by": ("history_date", "history_id"),
            },
            bases=(simple_history.models.HistoricalChanges, models.Model),
        ),
        migrations.CreateModel(
            name="HistoricalFootFinding",
            fields=[
                ("id", models.BigIntegerField(auto_created=True, blank=True, db_index=True, verbose_name="ID")),
                ("foot", models.CharField(choices=clinic.vocabulary.procedure.Foot.choices, max_length=5)),
                (
                    "dorsalis_pedis",
                    models.CharField(
                        choices=clinic.vocabulary.preparation.Pulse.choices,
                        default=clinic.vocabulary.procedure.Answer["NOT_RECORDED"],
                        max_length=20,
                    ),
                ),
                (
                    "posterior_tibial",
                    models.CharField(
                        choices=clinic.vocabulary.preparation.Pulse.choices,
                        default=clinic.vocabulary.procedure.Answer["NOT_RECORDED"],
                        max_length=20,
                    ),
                ),
                (
                    "doppler",
                    models.CharField(
                        choices=clinic.vocabulary.preparation.Doppler.choices,
                        default=clinic.vocabulary.procedure.Answer["NOT_RECORDED"],
                        max_length=20,
                    ),
                ),
                ("abpi", models.DecimalField(blank=True, decimal_places=2, max_digits=3, null=True)),
                ("toe_pressure", models.PositiveSmallIntegerField(blank=True, help_text="mmHg, systolic", null=True)),
                ("tbi", models.DecimalField(blank=True, decimal_places=2, max_digits=3, null=True)),
                ("ankle_pressure", models.PositiveSmallIntegerField(blank=True, help_text="mmHg, systolic", null=True)),
                ("measured_on", models.DateField(blank=True, help_text="Of ratios and pressures.", null=True)),
                (
                    "monofilament_sites",
                    models.PositiveSmallIntegerField(blank=True, help_text="Sites of 10 that were felt", null=True),
                ),
                ("history_id", models.AutoField(primary_key=True, serialize=False)),
                ("history_date", models.DateTimeField(db_index=True)),
                ("history_change_reason", models.TextField(null=True)),
                (
                    "history_type",
                    models.CharField(choices=[("+", "Created"), ("~", "Changed"), ("-", "Deleted")], max_length=1),
                ),
                (
                    "assessment",
                    models.ForeignKey(
                        blank=True,
                        db_constraint=False,
                        null=True,
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="+",
                        to="clinic.assessment",
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
            ],
            options={
                "verbose_name": "historical foot finding",
                "verbose_name_plural": "historical foot findings",
                "ordering": ("-history_date", "-history_id"),
                "get_latest_by": ("history_date", "history_id"),
            },
            bases=(simple_history.models.HistoricalChanges, models.Model),
        ),
        migrations.CreateModel(
            name="HistoricalPractice",
            fields=[
                ("id", models.BigIntegerField(auto_created=True, blank=True, db_index=True, verbose_name="ID")),
                (
                    "key",
                    models.CharField(
                        db_index=True, default=clinic.access.models.random_key, editable=False, max_length=12
                    ),
                ),
                ("version", models.PositiveIntegerField(default=1, editable=False)),
                ("code", models.SlugField(max_length=20)),
                ("name", models.CharField(max_length=100)),
                ("is_demo", models.BooleanField(default=False)),
                ("audit_year_starts_month", models.PositiveSmallIntegerField(default=4)),
                (
                    "exposure_bands_seconds",
                    models.JSONField(
                        default=clinic.access.models.default_bands,
                        validators=[clinic.access.models.bands_are_ascending],
                    ),
                ),
                ("exposure_note_seconds", models.PositiveSmallIntegerField(default=180)),
                ("exposure_note_below_seconds", models.PositiveSmallIntegerField(blank=True, null=True)),
                ("tourniquet_note_minutes", models.PositiveSmallIntegerField(default=20)),
                ("tourniquet_alarm_minutes", models.PositiveSmallIntegerField(default=30)),
                ("recurrence_standard", models.DecimalField(decimal_places=3, default="0.050", max_digits=4)),
                (
                    "staging_system",
                    models.CharField(
                        blank=True, choices=clinic.vocabulary.procedure.StageSystem.choices, default="", max_length=15
                    ),
                ),
                ("agents_offered", models.JSONField(default=clinic.access.models.every_agent)),
                ("anaesthetics_offered", models.JSONField(default=clinic.access.models.every_anaesthetic)),
                ("dressings_offered", models.JSONField(default=clinic.access.models.every_dressing)),
                ("checklist_wording", models.JSONField(blank=True, default=dict)),
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
            ],
            options={
                "verbose_name": "historical practice",
                "verbose_name_plural": "historical practices",
                "ordering": ("-history_date", "-history_id"),
                "get_latest_by": ("history_date", "history_id"),
            },
            bases=(simple_history.models.HistoricalChanges, models.Model),
        ),
        migrations.CreateModel(
            name="Operation",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                (
                    "key",
                    models.CharField(
                        default=clinic.access.models.random_key, editable=False, max_length=12, unique=True
                    ),
                ),
                ("version", models.PositiveIntegerField(default=1, editable=False)),
                ("struck_at", models.DateTimeField(blank=True, editable=False, null=True)),
                ("struck_reason", models.CharField(blank=True, default="", editable=False, max_length=200)),
                ("performed_on", models.DateField()),
                ("age_years", models.PositiveSmallIntegerField(blank=True, null=True)),
                ("weight_kg", models.DecimalField(blank=True, decimal_places=1, max_digits=4, null=True)),
                (
                    "consent_given_by",
                    models.CharField(
                        choices=clinic.vocabulary.procedure.ConsentGiver.choices,
                        default=clinic.vocabulary.procedure.ConsentGiver["NOT_RECORDED"],
                        max_length=15,
                    ),
                ),
                (
                    "dressing",
                    models.CharField(
                        choices=clinic.vocabulary.theatre.Dressing.choices,
                        default=clinic.vocabulary.theatre.Dressing["NOT_RECORDED"],
                        max_length=15,
                    ),
                ),
                (
                    "outer_dressing",
                    models.CharField(
                        choices=clinic.vocabulary.theatre.OuterDressing.choices,
                        default=clinic.vocabulary.theatre.OuterDressing["NOT_RECORDED"],
                        max_length=15,
                    ),
                ),
                (
                    "aftercare",
                    models.CharField(
                        choices=clinic.vocabulary.theatre.Aftercare.choices,
                        default=clinic.vocabulary.theatre.Aftercare["NOT_RECORDED"],
                        max_length=15,
                    ),
                ),
                (
                    "aftercare_sheet",
                    models.CharField(blank=True, default="", help_text="Name and version.", max_length=60),
                ),
                ("note", models.TextField(blank=True, default="", max_length=2000)),
                ("recorded_at", models.DateTimeField()),
                ("signed_at", models.DateTimeField(blank=True, null=True)),
                ("cosigned_at", models.DateTimeField(blank=True, null=True)),
                (
                    "assistant",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="assisted_operations",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "cosigned_by",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "operator",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="operations",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "recorded_by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
                (
                    "signed_by",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "supervisor",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="supervised_operations",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "template",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="operations",
                        to="clinic.operationtemplate",
                    ),
                ),
                (
                    "patient",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="operations", to="clinic.patient"
                    ),
                ),
            ],
            options={
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("consent_given_by__in", ["patient", "parent", "other", "not_recorded"])),
                        name="operation_consent_given_by_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            (
                                "dressing__in",
                                [
                                    "non_adherent",
                                    "alginate",
                                    "hydrofibre",
                                    "foam",
                                    "hydrogel",
                                    "iodine",
                                    "honey",
                                    "silver",
                                    "gauze",
                                    "other",
                                    "not_recorded",
                                ],
                            )
                        ),
                        name="operation_dressing_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("outer_dressing__in", ["tubular", "conforming", "cohesive", "none", "not_recorded"])
                        ),
                        name="operation_outer_dressing_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("aftercare__in", ["both", "spoken", "written", "not_given", "not_recorded"])
                        ),
                        name="operation_aftercare_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("age_years__gte", 0), ("age_years__lte", 120)),
                            ("age_years__isnull", True),
                            _connector="OR",
                        ),
                        name="operation_age_years_range",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("weight_kg__gte", 5), ("weight_kg__lte", 300)),
                            ("weight_kg__isnull", True),
                            _connector="OR",
                        ),
                        name="operation_weight_kg_range",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("performed_on__gte", datetime.date(1900, 1, 1))),
                        name="operation_not_before_1900",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("signed_at__isnull", True), ("signed_by__isnull", True)),
                            models.Q(("signed_at__isnull", False), ("signed_by__isnull", False)),
                            _connector="OR",
                        ),
                        name="operation_signed_by_and_at",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("cosigned_at__isnull", True), ("cosigned_by__isnull", True)),
                            models.Q(("cosigned_at__isnull", False), ("cosigned_by__isnull", False)),
                            _connector="OR",
                        ),
                        name="operation_cosigned_by_and_at",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="NailProcedure",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                (
                    "key",
                    models.CharField(
                        default=clinic.access.models.random_key, editable=False, max_length=12, unique=True
                    ),
                ),
                ("version", models.PositiveIntegerField(default=1, editable=False)),
                ("foot", models.CharField(choices=clinic.vocabulary.procedure.Foot.choices, max_length=5)),
                ("toe", models.PositiveSmallIntegerField()),
                ("technique", models.CharField(choices=clinic.vocabulary.procedure.Technique.choices, max_length=20)),
                ("matrix_destroyed", models.BooleanField()),
                ("agent", models.CharField(choices=clinic.vocabulary.procedure.Agent.choices, max_length=20)),
                ("strength_percent", models.DecimalField(blank=True, decimal_places=1, max_digits=4, null=True)),
                (
                    "strength_basis",
                    models.CharField(choices=clinic.vocabulary.procedure.StrengthBasis.choices, max_length=15),
                ),
                (
                    "curettage",
                    models.CharField(
                        choices=clinic.vocabulary.procedure.Curettage.choices,
                        default=clinic.vocabulary.procedure.Curettage["NOT_RECORDED"],
                        max_length=15,
                    ),
                ),
                (
                    "lavage",
                    models.CharField(
                        choices=clinic.vocabulary.procedure.Lavage.choices,
                        default=clinic.vocabulary.procedure.Lavage["NOT_RECORDED"],
                        max_length=15,
                    ),
                ),
                (
                    "infection_before",
                    models.CharField(
                        choices=clinic.vocabulary.procedure.LocalInfection.choices,
                        default=clinic.vocabulary.procedure.LocalInfection["NOT_RECORDED"],
                        max_length=15,
                    ),
                ),
                (
                    "prior_surgery_same_side",
                    models.CharField(
                        choices=clinic.vocabulary.procedure.Answer.choices,
                        default=clinic.vocabulary.procedure.Answer["NOT_RECORDED"],
                        max_length=15,
                    ),
                ),
                (
                    "stage_system",
                    models.CharField(
                        choices=clinic.vocabulary.procedure.StageSystem.choices,
                        default=clinic.vocabulary.procedure.StageSystem["NONE"],
                        max_length=15,
                    ),
                ),
                ("stage", models.CharField(blank=True, default="", max_length=4)),
                (
                    "tourniquet",
                    models.CharField(
                        choices=clinic.vocabulary.procedure.Tourniquet.choices,
                        default=clinic.vocabulary.procedure.Tourniquet["NOT_RECORDED"],
                        max_length=15,
                    ),
                ),
                ("tourniquet_on_at", models.DateTimeField(blank=True, null=True)),
                ("tourniquet_off_at", models.DateTimeField(blank=True, null=True)),
                (
                    "tourniquet_removal_witnessed",
                    models.CharField(
                        choices=clinic.vocabulary.procedure.Answer.choices,
                        default=clinic.vocabulary.procedure.Answer["NOT_RECORDED"],
                        max_length=15,
                    ),
                ),
                (
                    "removal_seen_by",
                    models.CharField(
                        blank=True,
                        default="",
                        help_text="Initials of the second person, or the patient or carer.",
                        max_length=60,
                    ),
                ),
                (
                    "toe_colour",
                    models.CharField(
                        choices=clinic.vocabulary.theatre.ToeColour.choices,
                        default=clinic.vocabulary.theatre.ToeColour["NOT_RECORDED"],
                        max_length=15,
                    ),
                ),
                (
                    "capillary_refill_seconds",
                    models.DecimalField(blank=True, decimal_places=1, max_digits=3, null=True),
                ),
                (
                    "block_result",
                    models.CharField(
                        choices=clinic.vocabulary.theatre.BlockResult.choices,
                        default=clinic.vocabulary.theatre.BlockResult["NOT_RECORDED"],
                        max_length=15,
                    ),
                ),
                ("agent_batch", models.CharField(blank=True, default="", max_length=30)),
                ("agent_expires_on", models.DateField(blank=True, null=True)),
                (
                    "skin_protected",
                    models.CharField(
                        choices=clinic.vocabulary.procedure.Answer.choices,
                        default=clinic.vocabulary.procedure.Answer["NOT_RECORDED"],
                        max_length=15,
                    ),
                ),
                (
                    "dry_field",
                    models.CharField(
                        choices=clinic.vocabulary.procedure.Answer.choices,
                        default=clinic.vocabulary.procedure.Answer["NOT_RECORDED"],
                        max_length=15,
                    ),
                ),
                ("lavage_ml", models.PositiveSmallIntegerField(blank=True, null=True)),
                (
                    "haemostasis",
                    models.CharField(
                        choices=clinic.vocabulary.theatre.Haemostasis.choices,
                        default=clinic.vocabulary.theatre.Haemostasis["NOT_RECORDED"],
                        max_length=15,
                    ),
                ),
                (
                    "histology_sent",
                    models.CharField(
                        choices=clinic.vocabulary.procedure.Answer.choices,
                        default=clinic.vocabulary.procedure.Answer["NOT_RECORDED"],
                        max_length=15,
                    ),
                ),
                (
                    "amputated_on",
                    models.DateField(blank=True, help_text="The toe was amputated later; nothing can grow.", null=True),
                ),
                (
                    "operation",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="nail_procedures",
                        to="clinic.operation",
                    ),
                ),
            ],
            options={
                "constraints": [
                    models.UniqueConstraint(fields=("operation", "foot", "toe"), name="toe_once_per_operation"),
                    models.CheckConstraint(condition=models.Q(("foot__in", ["right", "left"])), name="nail_foot_known"),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("toe__gte", 1), ("toe__lte", 5)), ("toe__isnull", True), _connector="OR"
                        ),
                        name="nail_toe_range",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            (
                                "technique__in",
                                [
                                    "pna_chemical",
                                    "pna_only",
                                    "tna_chemical",
                                    "tna_only",
                                    "wedge",
                                    "matrix_excision",
                                    "excision_other",
                                    "electro",
                                    "laser",
                                    "combined",
                                    "other",
                                ],
                            )
                        ),
                        name="nail_technique_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("agent__in", ["phenol", "sodium_hydroxide", "tca", "bca", "other", "none", "not_recorded"])
                        ),
                        name="nail_agent_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("strength_basis__in", ["w_w", "w_v", "not_recorded", "not_applicable"])),
                        name="nail_strength_basis_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("strength_percent__gte", 0.1), ("strength_percent__lte", 100)),
                            ("strength_percent__isnull", True),
                            _connector="OR",
                        ),
                        name="nail_strength_percent_range",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("curettage__in", ["none", "before", "after", "not_recorded"])),
                        name="nail_curettage_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            (
                                "lavage__in",
                                [
                                    "none",
                                    "isopropyl",
                                    "ethanol",
                                    "saline",
                                    "chlorhexidine",
                                    "polihexanide",
                                    "dilute_acid",
                                    "not_recorded",
                                ],
                            )
                        ),
                        name="nail_lavage_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            (
                                "infection_before__in",
                                ["none", "inflamed", "purulent", "spreading", "not_assessed", "not_recorded"],
                            )
                        ),
                        name="nail_infection_before_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            (
                                "prior_surgery_same_side__in",
                                ["yes", "no", "not_assessed", "not_applicable", "not_recorded"],
                            )
                        ),
                        name="nail_prior_surgery_same_side_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("stage_system__in", ["heifetz", "mozena", "martinez_nova", "none"])),
                        name="nail_stage_system_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            (
                                "tourniquet__in",
                                ["ring", "drain_clamp", "band_clamp", "glove_finger", "other", "none", "not_recorded"],
                            )
                        ),
                        name="nail_tourniquet_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            (
                                "tourniquet_removal_witnessed__in",
                                ["yes", "no", "not_assessed", "not_applicable", "not_recorded"],
                            )
                        ),
                        name="nail_tourniquet_removal_witnessed_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("toe_colour__in", ["pink", "pale", "dusky", "not_recorded"])),
                        name="nail_toe_colour_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("block_result__in", ["effective", "partial", "failed", "not_recorded"])),
                        name="nail_block_result_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("skin_protected__in", ["yes", "no", "not_assessed", "not_applicable", "not_recorded"])
                        ),
                        name="nail_skin_protected_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("dry_field__in", ["yes", "no", "not_assessed", "not_applicable", "not_recorded"])
                        ),
                        name="nail_dry_field_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            (
                                "haemostasis__in",
                                [
                                    "pressure",
                                    "alginate",
                                    "silver_nitrate",
                                    "ferric",
                                    "aluminium",
                                    "electro",
                                    "suture",
                                    "none",
                                    "not_recorded",
                                ],
                            )
                        ),
                        name="nail_haemostasis_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("histology_sent__in", ["yes", "no", "not_assessed", "not_applicable", "not_recorded"])
                        ),
                        name="nail_histology_sent_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("capillary_refill_seconds__gte", 0), ("capillary_refill_seconds__lte", 30)),
                            ("capillary_refill_seconds__isnull", True),
                            _connector="OR",
                        ),
                        name="nail_capillary_refill_seconds_range",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("lavage_ml__gte", 0), ("lavage_ml__lte", 100)),
                            ("lavage_ml__isnull", True),
                            _connector="OR",
                        ),
                        name="nail_lavage_ml_range",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("tourniquet_off_at__isnull", True),
                            ("tourniquet_on_at__isnull", True),
                            ("tourniquet_off_at__gte", models.F("tourniquet_on_at")),
                            _connector="OR",
                        ),
                        name="tourniquet_off_after_on",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("technique__in", ["pna_chemical", "tna_chemical", "combined"]), _negated=True),
                            models.Q(("agent", "none"), _negated=True),
                            _connector="OR",
                        ),
                        name="chemical_technique_has_agent",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="HistoricalReview",
            fields=[
                ("id", models.BigIntegerField(auto_created=True, blank=True, db_index=True, verbose_name="ID")),
                (
                    "key",
                    models.CharField(
                        db_index=True, default=clinic.access.models.random_key, editable=False, max_length=12
                    ),
                ),
                ("version", models.PositiveIntegerField(default=1, editable=False)),
                ("struck_at", models.DateTimeField(blank=True, editable=False, null=True)),
                ("struck_reason", models.CharField(blank=True, default="", editable=False, max_length=200)),
                ("operated_on", models.DateField(editable=False)),
                ("seen_on", models.DateField()),
                ("origin", models.CharField(choices=clinic.vocabulary.review.Origin.choices, max_length=10)),
                ("observer", models.CharField(choices=clinic.vocabulary.review.Observer.choices, max_length=15)),
                ("means", models.CharField(choices=clinic.vocabulary.review.Means.choices, max_length=15)),
                (
                    "next_step",
                    models.CharField(
                        choices=clinic.vocabulary.review.NextStep.choices,
                        default=clinic.vocabulary.review.NextStep["AS_PLANNED"],
                        max_length=15,
                    ),
                ),
                ("next_reason", models.CharField(blank=True, default="", max_length=200)),
                ("note", models.TextField(blank=True, default="", max_length=2000)),
                ("recorded_at", models.DateTimeField()),
                ("accepted_at", models.DateTimeField(blank=True, null=True)),
                ("history_id", models.AutoField(primary_key=True, serialize=False)),
                ("history_date", models.DateTimeField(db_index=True)),
                ("history_change_reason", models.TextField(null=True)),
                (
                    "history_type",
                    models.CharField(choices=[("+", "Created"), ("~", "Changed"), ("-", "Deleted")], max_length=1),
                ),
                (
                    "accepted_by",
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
                    "history_user",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.SET_NULL,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "recorded_by",
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
                    "seen_by",
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
                    "operation",
                    models.ForeignKey(
                        blank=True,
                        db_constraint=False,
                        null=True,
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="+",
                        to="clinic.operation",
                    ),
                ),
            ],
            options={
                "verbose_name": "historical review",
                "verbose_name_plural": "historical reviews",
                "ordering": ("-history_date", "-history_id"),
                "get_latest_by": ("history_date", "history_id"),
            },
            bases=(simple_history.models.HistoricalChanges, models.Model),
        ),
        migrations.CreateModel(
            name="HistoricalRedFlag",
            fields=[
                ("id", models.BigIntegerField(auto_created=True, blank=True, db_index=True, verbose_name="ID")),
                (
                    "key",
                    models.CharField(
                        db_index=True, default=clinic.access.models.random_key, editable=False, max_length=12
                    ),
                ),
                ("version", models.PositiveIntegerField(default=1, editable=False)),
                ("alert", models.CharField(choices=clinic.vocabulary.redflag.Alert.choices, max_length=20)),
                ("level", models.CharField(choices=clinic.vocabulary.redflag.AlertLevel.choices, max_length=10)),
                ("fact", models.CharField(max_length=300)),
                ("toe_key", models.CharField(blank=True, default="", max_length=12)),
                ("origin", models.CharField(choices=clinic.vocabulary.redflag.AlertOrigin.choices, max_length=15)),
                ("source_key", models.CharField(blank=True, default="", max_length=12)),
                ("raised_at", models.DateTimeField()),
                (
                    "action",
                    models.CharField(
                        blank=True, choices=clinic.vocabulary.redflag.AlertAction.choices, default="", max_length=15
                    ),
                ),
                ("action_text", models.CharField(blank=True, default="", max_length=500)),
                ("answered_at", models.DateTimeField(blank=True, null=True)),
                ("lapsed_at", models.DateTimeField(blank=True, null=True)),
                ("history_id", models.AutoField(primary_key=True, serialize=False)),
                ("history_date", models.DateTimeField(db_index=True)),
                ("history_change_reason", models.TextField(null=True)),
                (
                    "history_type",
                    models.CharField(choices=[("+", "Created"), ("~", "Changed"), ("-", "Deleted")], max_length=1),
                ),
                (
                    "answered_by",
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
                    "history_user",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.SET_NULL,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "raised_by",
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
                    "operation",
                    models.ForeignKey(
                        blank=True,
                        db_constraint=False,
                        null=True,
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="+",
                        to="clinic.operation",
                    ),
                ),
            ],
            options={
                "verbose_name": "historical red flag",
                "verbose_name_plural": "historical red flags",
                "ordering": ("-history_date", "-history_id"),
                "get_latest_by": ("history_date", "history_id"),
            },
            bases=(simple_history.models.HistoricalChanges, models.Model),
        ),
        migrations.CreateModel(
            name="HistoricalOperationEvent",
            fields=[
                ("id", models.BigIntegerField(auto_created=True, blank=True, db_index=True, verbose_name="ID")),
                ("kind", models.CharField(choices=clinic.vocabulary.procedure.EventKind.choices, max_length=20)),
                ("harm", models.CharField(choices=clinic.vocabulary.procedure.Harm.choices, max_length=10)),
                ("happened_on", models.DateField()),
                ("candour_completed_on", models.DateField(blank=True, null=True)),
                ("note", models.TextField(blank=True, default="", max_length=2000)),
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
                    "nail_procedure",
                    models.ForeignKey(
                        blank=True,
                        db_constraint=False,
                        null=True,
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="+",
                        to="clinic.nailprocedure",
                    ),
                ),
                (
                    "operation",
                    models.ForeignKey(
                        blank=True,
                        db_constraint=False,
                        null=True,
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="+",
                        to="clinic.operation",
                    ),
                ),
            ],
            options={
                "verbose_name": "historical operation event",
                "verbose_name_plural": "historical operation events",
                "ordering": ("-history_date", "-history_id"),
                "get_latest_by": ("history_date", "history_id"),
            },
            bases=(simple_history.models.HistoricalChanges, models.Model),
        ),
        migrations.CreateModel(
            name="HistoricalNailProcedure",
            fields=[
                ("id", models.BigIntegerField(auto_created=True, blank=True, db_index=True, verbose_name="ID")),
                (
                    "key",
                    models.CharField(
                        db_index=True, default=clinic.access.models.random_key, editable=False, max_length=12
                    ),
                ),
                ("version", models.PositiveIntegerField(default=1, editable=False)),
                ("foot", models.CharField(choices=clinic.vocabulary.procedure.Foot.choices, max_length=5)),
                ("toe", models.PositiveSmallIntegerField()),
                ("technique", models.CharField(choices=clinic.vocabulary.procedure.Technique.choices, max_length=20)),
                ("matrix_destroyed", models.BooleanField()),
                ("agent", models.CharField(choices=clinic.vocabulary.procedure.Agent.choices, max_length=20)),
                ("strength_percent", models.DecimalField(blank=True, decimal_places=1, max_digits=4, null=True)),
                (
                    "strength_basis",
                    models.CharField(choices=clinic.vocabulary.procedure.StrengthBasis.choices, max_length=15),
                ),
                (
                    "curettage",
                    models.CharField(
                        choices=clinic.vocabulary.procedure.Curettage.choices,
                        default=clinic.vocabulary.procedure.Curettage["NOT_RECORDED"],
                        max_length=15,
                    ),
                ),
                (
                    "lavage",
                    models.CharField(
                        choices=clinic.vocabulary.procedure.Lavage.choices,
                        default=clinic.vocabulary.procedure.Lavage["NOT_RECORDED"],
                        max_length=15,
                    ),
                ),
                (
                    "infection_before",
                    models.CharField(
                        choices=clinic.vocabulary.procedure.LocalInfection.choices,
                        default=clinic.vocabulary.procedure.LocalInfection["NOT_RECORDED"],
                        max_length=15,
                    ),
                ),
                (
                    "prior_surgery_same_side",
                    models.CharField(
                        choices=clinic.vocabulary.procedure.Answer.choices,
                        default=clinic.vocabulary.procedure.Answer["NOT_RECORDED"],
                        max_length=15,
                    ),
                ),
                (
                    "stage_system",
                    models.CharField(
                        choices=clinic.vocabulary.procedure.StageSystem.choices,
                        default=clinic.vocabulary.procedure.StageSystem["NONE"],
                        max_length=15,
                    ),
                ),
                ("stage", models.CharField(blank=True, default="", max_length=4)),
                (
                    "tourniquet",
                    models.CharField(
                        choices=clinic.vocabulary.procedure.Tourniquet.choices,
                        default=clinic.vocabulary.procedure.Tourniquet["NOT_RECORDED"],
                        max_length=15,
                    ),
                ),
                ("tourniquet_on_at", models.DateTimeField(blank=True, null=True)),
                ("tourniquet_off_at", models.DateTimeField(blank=True, null=True)),
                (
                    "tourniquet_removal_witnessed",
                    models.CharField(
                        choices=clinic.vocabulary.procedure.Answer.choices,
                        default=clinic.vocabulary.procedure.Answer["NOT_RECORDED"],
                        max_length=15,
                    ),
                ),
                (
                    "removal_seen_by",
                    models.CharField(
                        blank=True,
                        default="",
                        help_text="Initials of the second person, or the patient or carer.",
                        max_length=60,
                    ),
                ),
                (
                    "toe_colour",
                    models.CharField(
                        choices=clinic.vocabulary.theatre.ToeColour.choices,
                        default=clinic.vocabulary.theatre.ToeColour["NOT_RECORDED"],
                        max_length=15,
                    ),
                ),
                (
                    "capillary_refill_seconds",
                    models.DecimalField(blank=True, decimal_places=1, max_digits=3, null=True),
                ),
                (
                    "block_result",
                    models.CharField(
                        choices=clinic.vocabulary.theatre.BlockResult.choices,
                        default=clinic.vocabulary.theatre.BlockResult["NOT_RECORDED"],
                        max_length=15,
                    ),
                ),
                ("agent_batch", models.CharField(blank=True, default="", max_length=30)),
                ("agent_expires_on", models.DateField(blank=True, null=True)),
                (
                    "skin_protected",
                    models.CharField(
                        choices=clinic.vocabulary.procedure.Answer.choices,
                        default=clinic.vocabulary.procedure.Answer["NOT_RECORDED"],
                        max_length=15,
                    ),
                ),
                (
                    "dry_field",
                    models.CharField(
                        choices=clinic.vocabulary.procedure.Answer.choices,
                        default=clinic.vocabulary.procedure.Answer["NOT_RECORDED"],
                        max_length=15,
                    ),
                ),
                ("lavage_ml", models.PositiveSmallIntegerField(blank=True, null=True)),
                (
                    "haemostasis",
                    models.CharField(
                        choices=clinic.vocabulary.theatre.Haemostasis.choices,
                        default=clinic.vocabulary.theatre.Haemostasis["NOT_RECORDED"],
                        max_length=15,
                    ),
                ),
                (
                    "histology_sent",
                    models.CharField(
                        choices=clinic.vocabulary.procedure.Answer.choices,
                        default=clinic.vocabulary.procedure.Answer["NOT_RECORDED"],
                        max_length=15,
                    ),
                ),
                (
                    "amputated_on",
                    models.DateField(blank=True, help_text="The toe was amputated later; nothing can grow.", null=True),
                ),
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
                    "operation",
                    models.ForeignKey(
                        blank=True,
                        db_constraint=False,
                        null=True,
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="+",
                        to="clinic.operation",
                    ),
                ),
            ],
            options={
                "verbose_name": "historical nail procedure",
                "verbose_name_plural": "historical nail procedures",
                "ordering": ("-history_date", "-history_id"),
                "get_latest_by": ("history_date", "history_id"),
            },
            bases=(simple_history.models.HistoricalChanges, models.Model),
        ),
        migrations.CreateModel(
            name="HistoricalContact",
            fields=[
                ("id", models.BigIntegerField(auto_created=True, blank=True, db_index=True, verbose_name="ID")),
                (
                    "key",
                    models.CharField(
                        db_index=True, default=clinic.access.models.random_key, editable=False, max_length=12
                    ),
                ),
                ("version", models.PositiveIntegerField(default=1, editable=False)),
                ("made_on", models.DateField()),
                ("channel", models.CharField(choices=clinic.vocabulary.review.ContactChannel.choices, max_length=10)),
                ("result", models.CharField(choices=clinic.vocabulary.review.ContactResult.choices, max_length=15)),
                ("next_try_on", models.DateField(blank=True, null=True)),
                ("note", models.CharField(blank=True, default="", max_length=500)),
                (
                    "reported",
                    models.CharField(
                        choices=clinic.vocabulary.redflag.Reported.choices,
                        default=clinic.vocabulary.redflag.Reported["NOT_ASKED"],
                        max_length=15,
                    ),
                ),
                ("handled_at", models.DateTimeField(blank=True, null=True)),
                ("recorded_at", models.DateTimeField()),
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
                    "recorded_by",
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
                    "operation",
                    models.ForeignKey(
                        blank=True,
                        db_constraint=False,
                        null=True,
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="+",
                        to="clinic.operation",
                    ),
                ),
            ],
            options={
                "verbose_name": "historical contact",
                "verbose_name_plural": "historical contacts",
                "ordering": ("-history_date", "-history_id"),
                "get_latest_by": ("history_date", "history_id"),
            },
            bases=(simple_history.models.HistoricalChanges, models.Model),
        ),
        migrations.CreateModel(
            name="HistoricalChecklistPhase",
            fields=[
                ("id", models.BigIntegerField(auto_created=True, blank=True, db_index=True, verbose_name="ID")),
                (
                    "key",
                    models.CharField(
                        db_index=True, default=clinic.access.models.random_key, editable=False, max_length=12
                    ),
                ),
                ("version", models.PositiveIntegerField(default=1, editable=False)),
                ("phase", models.CharField(choices=clinic.vocabulary.theatre.Phase.choices, max_length=20)),
                ("timing", models.CharField(choices=clinic.vocabulary.theatre.PhaseTiming.choices, max_length=12)),
                ("completed_at", models.DateTimeField()),
                ("second_initials", models.CharField(max_length=10)),
                ("note", models.CharField(blank=True, default="", max_length=500)),
                ("history_id", models.AutoField(primary_key=True, serialize=False)),
                ("history_date", models.DateTimeField(db_index=True)),
                ("history_change_reason", models.TextField(null=True)),
                (
                    "history_type",
                    models.CharField(choices=[("+", "Created"), ("~", "Changed"), ("-", "Deleted")], max_length=1),
                ),
                (
                    "by",
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
                    "history_user",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.SET_NULL,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "operation",
                    models.ForeignKey(
                        blank=True,
                        db_constraint=False,
                        null=True,
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="+",
                        to="clinic.operation",
                    ),
                ),
            ],
            options={
                "verbose_name": "historical checklist phase",
                "verbose_name_plural": "historical checklist phases",
                "ordering": ("-history_date", "-history_id"),
                "get_latest_by": ("history_date", "history_id"),
            },
            bases=(simple_history.models.HistoricalChanges, models.Model),
        ),
        migrations.CreateModel(
            name="HistoricalBooking",
            fields=[
                ("id", models.BigIntegerField(auto_created=True, blank=True, db_index=True, verbose_name="ID")),
                (
                    "key",
                    models.CharField(
                        db_index=True, default=clinic.access.models.random_key, editable=False, max_length=12
                    ),
                ),
                ("version", models.PositiveIntegerField(default=1, editable=False)),
                ("starts_at", models.DateTimeField()),
                ("point", models.CharField(blank=True, default="", max_length=20)),
                ("cancelled_at", models.DateTimeField(blank=True, null=True)),
                ("history_id", models.AutoField(primary_key=True, serialize=False)),
                ("history_date", models.DateTimeField(db_index=True)),
                ("history_change_reason", models.TextField(null=True)),
                (
                    "history_type",
                    models.CharField(choices=[("+", "Created"), ("~", "Changed"), ("-", "Deleted")], max_length=1),
                ),
                (
                    "booked_by",
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
                    "history_user",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.SET_NULL,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "operation",
                    models.ForeignKey(
                        blank=True,
                        db_constraint=False,
                        null=True,
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="+",
                        to="clinic.operation",
                    ),
                ),
            ],
            options={
                "verbose_name": "historical booking",
                "verbose_name_plural": "historical bookings",
                "ordering": ("-history_date", "-history_id"),
                "get_latest_by": ("history_date", "history_id"),
            },
            bases=(simple_history.models.HistoricalChanges, models.Model),
        ),
        migrations.CreateModel(
            name="HistoricalAnaestheticDose",
            fields=[
                ("id", models.BigIntegerField(auto_created=True, blank=True, db_index=True, verbose_name="ID")),
                ("given_at", models.DateTimeField(blank=True, null=True)),
                (
                    "route",
                    models.CharField(
                        choices=clinic.vocabulary.theatre.Route.choices,
                        default=clinic.vocabulary.theatre.Route["NOT_RECORDED"],
                        max_length=15,
                    ),
                ),
                ("agent", models.CharField(choices=clinic.vocabulary.procedure.Anaesthetic.choices, max_length=20)),
                ("strength_percent", models.DecimalField(decimal_places=2, max_digits=4)),
                (
                    "vasoconstrictor",
                    models.CharField(
                        choices=clinic.vocabulary.procedure.Vasoconstrictor.choices,
                        default=clinic.vocabulary.procedure.Vasoconstrictor["NOT_RECORDED"],
                        max_length=15,
                    ),
                ),
                ("volume_ml", models.DecimalField(blank=True, decimal_places=1, max_digits=4, null=True)),
                ("batch", models.CharField(blank=True, default="", max_length=30)),
                ("expires_on", models.DateField(blank=True, null=True)),
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
                    "nail_procedure",
                    models.ForeignKey(
                        blank=True,
                        db_constraint=False,
                        null=True,
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="+",
                        to="clinic.nailprocedure",
                    ),
                ),
                (
                    "operation",
                    models.ForeignKey(
                        blank=True,
                        db_constraint=False,
                        null=True,
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="+",
                        to="clinic.operation",
                    ),
                ),
            ],
            options={
                "verbose_name": "historical anaesthetic dose",
                "verbose_name_plural": "historical anaesthetic doses",
                "ordering": ("-history_date", "-history_id"),
                "get_latest_by": ("history_date", "history_id"),
            },
            bases=(simple_history.models.HistoricalChanges, models.Model),
        ),
        migrations.CreateModel(
            name="Contact",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                (
                    "key",
                    models.CharField(
                        default=clinic.access.models.random_key, editable=False, max_length=12, unique=True
                    ),
                ),
                ("version", models.PositiveIntegerField(default=1, editable=False)),
                ("made_on", models.DateField()),
                ("channel", models.CharField(choices=clinic.vocabulary.review.ContactChannel.choices, max_length=10)),
                ("result", models.CharField(choices=clinic.vocabulary.review.ContactResult.choices, max_length=15)),
                ("next_try_on", models.DateField(blank=True, null=True)),
                ("note", models.CharField(blank=True, default="", max_length=500)),
                (
                    "reported",
                    models.CharField(
                        choices=clinic.vocabulary.redflag.Reported.choices,
                        default=clinic.vocabulary.redflag.Reported["NOT_ASKED"],
                        max_length=15,
                    ),
                ),
                ("handled_at", models.DateTimeField(blank=True, null=True)),
                ("recorded_at", models.DateTimeField()),
                (
                    "recorded_by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
                (
                    "operation",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="contacts", to="clinic.operation"
                    ),
                ),
            ],
            options={
                "indexes": [models.Index(fields=["operation", "made_on"], name="clinic_cont_operati_4caca5_idx")],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("channel__in", ["phone", "letter", "text", "email", "in_person"])),
                        name="contact_channel_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            (
                                "result__in",
                                [
                                    "booked",
                                    "left_message",
                                    "no_answer",
                                    "wrong_number",
                                    "did_not_attend",
                                    "declined",
                                    "moved",
                                    "died",
                                    "problem",
                                ],
                            )
                        ),
                        name="contact_result_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            (
                                "reported__in",
                                [
                                    "nothing",
                                    "dark_or_numb",
                                    "spreading",
                                    "unwell",
                                    "child_alone",
                                    "concern",
                                    "not_asked",
                                ],
                            )
                        ),
                        name="contact_reported_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("next_try_on__isnull", True), ("next_try_on__gt", models.F("made_on")), _connector="OR"
                        ),
                        name="next_try_after_contact",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("made_on__gte", datetime.date(1900, 1, 1))), name="contact_not_before_1900"
                    ),
                ],
            },
        ),
        migrations.AddField(
            model_name="checklistphase",
            name="operation",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT, related_name="checklist", to="clinic.operation"
            ),
        ),
        migrations.CreateModel(
            name="Booking",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                (
                    "key",
                    models.CharField(
                        default=clinic.access.models.random_key, editable=False, max_length=12, unique=True
                    ),
                ),
                ("version", models.PositiveIntegerField(default=1, editable=False)),
                ("starts_at", models.DateTimeField()),
                ("point", models.CharField(blank=True, default="", max_length=20)),
                ("cancelled_at", models.DateTimeField(blank=True, null=True)),
                (
                    "booked_by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
                (
                    "operation",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="bookings", to="clinic.operation"
                    ),
                ),
            ],
            options={
                "indexes": [models.Index(fields=["starts_at"], name="clinic_book_starts__ac2d66_idx")],
            },
        ),
        migrations.CreateModel(
            name="AnaestheticDose",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("given_at", models.DateTimeField(blank=True, null=True)),
                (
                    "route",
                    models.CharField(
                        choices=clinic.vocabulary.theatre.Route.choices,
                        default=clinic.vocabulary.theatre.Route["NOT_RECORDED"],
                        max_length=15,
                    ),
                ),
                ("agent", models.CharField(choices=clinic.vocabulary.procedure.Anaesthetic.choices, max_length=20)),
                ("strength_percent", models.DecimalField(decimal_places=2, max_digits=4)),
                (
                    "vasoconstrictor",
                    models.CharField(
                        choices=clinic.vocabulary.procedure.Vasoconstrictor.choices,
                        default=clinic.vocabulary.procedure.Vasoconstrictor["NOT_RECORDED"],
                        max_length=15,
                    ),
                ),
                ("volume_ml", models.DecimalField(blank=True, decimal_places=1, max_digits=4, null=True)),
                ("batch", models.CharField(blank=True, default="", max_length=30)),
                ("expires_on", models.DateField(blank=True, null=True)),
                (
                    "nail_procedure",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="doses",
                        to="clinic.nailprocedure",
                    ),
                ),
                (
                    "operation",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="doses", to="clinic.operation"
                    ),
                ),
            ],
            options={
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(
                            (
                                "agent__in",
                                [
                                    "lidocaine",
                                    "mepivacaine",
                                    "prilocaine",
                                    "bupivacaine",
                                    "levobupivacaine",
                                    "ropivacaine",
                                    "articaine",
                                    "other",
                                ],
                            )
                        ),
                        name="dose_agent_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("route__in", ["digital_block", "transthecal", "infiltration", "ankle", "not_recorded"])
                        ),
                        name="dose_route_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            (
                                "vasoconstrictor__in",
                                ["none", "adrenaline_100", "adrenaline_200", "felypressin", "not_recorded"],
                            )
                        ),
                        name="dose_vasoconstrictor_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("strength_percent__gte", 0.1), ("strength_percent__lte", 5)),
                            ("strength_percent__isnull", True),
                            _connector="OR",
                        ),
                        name="dose_strength_percent_range",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("volume_ml__gte", 0.1), ("volume_ml__lte", 20)),
                            ("volume_ml__isnull", True),
                            _connector="OR",
                        ),
                        name="dose_volume_ml_range",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="Amendment",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("number", models.PositiveSmallIntegerField()),
                ("kind", models.CharField(choices=clinic.vocabulary.procedure.AmendmentKind.choices, max_length=15)),
                ("opened_at", models.DateTimeField()),
                ("closed_at", models.DateTimeField(blank=True, null=True)),
                (
                    "happened_at",
                    models.DateTimeField(blank=True, help_text="Of a late entry: when it happened.", null=True),
                ),
                ("reason", models.CharField(max_length=200)),
                ("site_changed", models.BooleanField(default=False)),
                ("seen_by_lead_at", models.DateTimeField(blank=True, null=True)),
                (
                    "by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
                (
                    "seen_by_lead",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "operation",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="amendments", to="clinic.operation"
                    ),
                ),
            ],
            options={
                "ordering": ("number",),
                "constraints": [
                    models.UniqueConstraint(fields=("operation", "number"), name="amendment_number_once"),
                    models.CheckConstraint(
                        condition=models.Q(("kind__in", ["amendment", "late_entry", "struck_out"])),
                        name="amendment_kind_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("reason", ""), _negated=True), name="amendment_has_a_reason"
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="OperationEvent",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("kind", models.CharField(choices=clinic.vocabulary.procedure.EventKind.choices, max_length=20)),
                ("harm", models.CharField(choices=clinic.vocabulary.procedure.Harm.choices, max_length=10)),
                ("happened_on", models.DateField()),
                ("candour_completed_on", models.DateField(blank=True, null=True)),
                ("note", models.TextField(blank=True, default="", max_length=2000)),
                (
                    "nail_procedure",
                    models.ForeignKey(
                        blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, to="clinic.nailprocedure"
                    ),
                ),
                (
                    "operation",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="events", to="clinic.operation"
                    ),
                ),
            ],
            options={
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(
                            (
                                "kind__in",
                                [
                                    "side_mismatch",
                                    "wrong_site",
                                    "tourniquet_noticed",
                                    "skin_burn",
                                    "vasovagal",
                                    "osteomyelitis",
                                    "toxicity_signs",
                                    "allergic_signs",
                                    "agent_spill",
                                    "agent_signs",
                                    "expired_batch",
                                    "other",
                                ],
                            )
                        ),
                        name="event_kind_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("harm__in", ["near_miss", "none", "low", "moderate", "severe"])),
                        name="event_harm_known",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="Identity",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                (
                    "key",
                    models.CharField(
                        default=clinic.access.models.random_key, editable=False, max_length=12, unique=True
                    ),
                ),
                ("version", models.PositiveIntegerField(default=1, editable=False)),
                ("practice_id_of_patient", models.PositiveBigIntegerField(editable=False)),
                ("family_name", clinic.patients.sealed.SealedField()),
                ("given_name", clinic.patients.sealed.SealedField(blank=True, default="")),
                ("born_on_text", clinic.patients.sealed.SealedField()),
                ("record_number", clinic.patients.sealed.SealedField()),
                ("record_number_digest", models.CharField(editable=False, max_length=32)),
                ("phone", clinic.patients.sealed.SealedField(blank=True, default="")),
                ("email", clinic.patients.sealed.SealedField(blank=True, default="")),
                (
                    "patient",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.PROTECT, related_name="identity", to="clinic.patient"
                    ),
                ),
            ],
            options={
                "constraints": [
                    models.UniqueConstraint(
                        fields=("practice_id_of_patient", "record_number_digest"),
                        name="record_number_once_per_practice",
                    )
                ],
            },
        ),
        migrations.CreateModel(
            name="HistoricalIdentity",
            fields=[
                ("id", models.BigIntegerField(auto_created=True, blank=True, db_index=True, verbose_name="ID")),
                (
                    "key",
                    models.CharField(
                        db_index=True, default=clinic.access.models.random_key, editable=False, max_length=12
                    ),
                ),
                ("version", models.PositiveIntegerField(default=1, editable=False)),
                ("practice_id_of_patient", models.PositiveBigIntegerField(editable=False)),
                ("family_name", clinic.patients.sealed.SealedField()),
                ("given_name", clinic.patients.sealed.SealedField(blank=True, default="")),
                ("born_on_text", clinic.patients.sealed.SealedField()),
                ("record_number", clinic.patients.sealed.SealedField()),
                ("record_number_digest", models.CharField(editable=False, max_length=32)),
                ("phone", clinic.patients.sealed.SealedField(blank=True, default="")),
                ("email", clinic.patients.sealed.SealedField(blank=True, default="")),
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
                    "patient",
                    models.ForeignKey(
                        blank=True,
                        db_constraint=False,
                        null=True,
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="+",
                        to="clinic.patient",
                    ),
                ),
            ],
            options={
                "verbose_name": "historical identity",
                "verbose_name_plural": "historical identitys",
                "ordering": ("-history_date", "-history_id"),
                "get_latest_by": ("history_date", "history_id"),
            },
            bases=(simple_history.models.HistoricalChanges, models.Model),
        ),
        migrations.CreateModel(
            name="HistoricalConsent",
            fields=[
                ("id", models.BigIntegerField(auto_created=True, blank=True, db_index=True, verbose_name="ID")),
                (
                    "key",
                    models.CharField(
                        db_index=True, default=clinic.access.models.random_key, editable=False, max_length=12
                    ),
                ),
                ("version", models.PositiveIntegerField(default=1, editable=False)),
                ("struck_at", models.DateTimeField(blank=True, editable=False, null=True)),
                ("struck_reason", models.CharField(blank=True, default="", editable=False, max_length=200)),
                ("recorded_at", models.DateTimeField()),
                ("foot", models.CharField(choices=clinic.vocabulary.procedure.Foot.choices, max_length=5)),
                ("toe", models.PositiveSmallIntegerField()),
                ("part", models.CharField(choices=clinic.vocabulary.sites.NailPart.choices, max_length=10)),
                (
                    "intent",
                    models.CharField(choices=clinic.vocabulary.preparation.ConsentIntent.choices, max_length=10),
                ),
                ("given_by", models.CharField(choices=clinic.vocabulary.procedure.ConsentGiver.choices, max_length=15)),
                ("discussed_on", models.DateField()),
                ("reconfirmed_on", models.DateField(blank=True, null=True)),
                ("withdrawn_on", models.DateField(blank=True, null=True)),
                (
                    "photographs",
                    models.CharField(
                        choices=clinic.vocabulary.procedure.Answer.choices,
                        default=clinic.vocabulary.procedure.Answer["NOT_RECORDED"],
                        max_length=20,
                    ),
                ),
                (
                    "interpreter",
                    models.CharField(
                        choices=clinic.vocabulary.preparation.Interpreter.choices,
                        default=clinic.vocabulary.procedure.Answer["NOT_RECORDED"],
                        max_length=20,
                    ),
                ),
                ("note", models.TextField(blank=True, default="", max_length=2000)),
                ("history_id", models.AutoField(primary_key=True, serialize=False)),
                ("history_date", models.DateTimeField(db_index=True)),
                ("history_change_reason", models.TextField(null=True)),
                (
                    "history_type",
                    models.CharField(choices=[("+", "Created"), ("~", "Changed"), ("-", "Deleted")], max_length=1),
                ),
                (
                    "discussed_by",
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
                    "history_user",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.SET_NULL,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "reconfirmed_by",
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
                    "recorded_by",
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
                (
                    "patient",
                    models.ForeignKey(
                        blank=True,
                        db_constraint=False,
                        null=True,
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="+",
                        to="clinic.patient",
                    ),
                ),
            ],
            options={
                "verbose_name": "historical consent",
                "verbose_name_plural": "historical consents",
                "ordering": ("-history_date", "-history_id"),
                "get_latest_by": ("history_date", "history_id"),
            },
            bases=(simple_history.models.HistoricalChanges, models.Model),
        ),
        migrations.CreateModel(
            name="HistoricalAssessment",
            fields=[
                ("id", models.BigIntegerField(auto_created=True, blank=True, db_index=True, verbose_name="ID")),
                (
                    "key",
                    models.CharField(
                        db_index=True, default=clinic.access.models.random_key, editable=False, max_length=12
                    ),
                ),
                ("version", models.PositiveIntegerField(default=1, editable=False)),
                ("struck_at", models.DateTimeField(blank=True, editable=False, null=True)),
                ("struck_reason", models.CharField(blank=True, default="", editable=False, max_length=200)),
                ("recorded_at", models.DateTimeField()),
                ("assessed_on", models.DateField()),
                (
                    "indication",
                    models.CharField(choices=clinic.vocabulary.preparation.Indication.choices, max_length=20),
                ),
                ("indication_other", models.CharField(blank=True, default="", max_length=200)),
                ("symptoms_weeks", models.PositiveSmallIntegerField(blank=True, null=True)),
                (
                    "diabetes",
                    models.CharField(
                        choices=clinic.vocabulary.preparation.Diabetes.choices,
                        default=clinic.vocabulary.procedure.Answer["NOT_RECORDED"],
                        max_length=20,
                    ),
                ),
                (
                    "foot_risk",
                    models.CharField(
                        choices=clinic.vocabulary.preparation.FootRisk.choices,
                        default=clinic.vocabulary.procedure.Answer["NOT_RECORDED"],
                        max_length=20,
                    ),
                ),
                ("hba1c", models.DecimalField(blank=True, decimal_places=1, max_digits=4, null=True)),
                (
                    "hba1c_unit",
                    models.CharField(
                        blank=True, choices=clinic.vocabulary.preparation.Hba1cUnit.choices, default="", max_length=10
                    ),
                ),
                ("hba1c_on", models.DateField(blank=True, null=True)),
                ("inr", models.DecimalField(blank=True, decimal_places=1, max_digits=3, null=True)),
                ("inr_on", models.DateField(blank=True, null=True)),
                (
                    "immunosuppression",
                    models.CharField(
                        choices=clinic.vocabulary.preparation.Immunosuppression.choices,
                        default=clinic.vocabulary.procedure.Answer["NOT_RECORDED"],
                        max_length=20,
                    ),
                ),
                (
                    "pregnancy",
                    models.CharField(
                        choices=clinic.vocabulary.preparation.Pregnancy.choices,
                        default=clinic.vocabulary.procedure.Answer["NOT_RECORDED"],
                        max_length=20,
                    ),
                ),
                (
                    "breastfeeding",
                    models.CharField(
                        choices=clinic.vocabulary.preparation.Pregnancy.choices,
                        default=clinic.vocabulary.procedure.Answer["NOT_RECORDED"],
                        max_length=20,
                    ),
                ),
                (
                    "tobacco",
                    models.CharField(
                        choices=clinic.vocabulary.preparation.Tobacco.choices,
                        default=clinic.vocabulary.procedure.Answer["NOT_RECORDED"],
                        max_length=20,
                    ),
                ),
                (
                    "allergy_words",
                    models.CharField(blank=True, default="", help_text="Which, and what happened.", max_length=300),
                ),
                ("weight_kg", models.DecimalField(blank=True, decimal_places=1, max_digits=4, null=True)),
                (
                    "weight_basis",
                    models.CharField(
                        choices=clinic.vocabulary.preparation.WeightBasis.choices,
                        default=clinic.vocabulary.procedure.Answer["NOT_RECORDED"],
                        max_length=20,
                    ),
                ),
                ("weight_on", models.DateField(blank=True, null=True)),
                ("note", models.TextField(blank=True, default="", max_length=2000)),
                ("history_id", models.AutoField(primary_key=True, serialize=False)),
                ("history_date", models.DateTimeField(db_index=True)),
                ("history_change_reason", models.TextField(null=True)),
                (
                    "history_type",
                    models.CharField(choices=[("+", "Created"), ("~", "Changed"), ("-", "Deleted")], max_length=1),
                ),
                (
                    "assessed_by",
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
                    "history_user",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.SET_NULL,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "recorded_by",
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
                    "patient",
                    models.ForeignKey(
                        blank=True,
                        db_constraint=False,
                        null=True,
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="+",
                        to="clinic.patient",
                    ),
                ),
            ],
            options={
                "verbose_name": "historical assessment",
                "verbose_name_plural": "historical assessments",
                "ordering": ("-history_date", "-history_id"),
                "get_latest_by": ("history_date", "history_id"),
            },
            bases=(simple_history.models.HistoricalChanges, models.Model),
        ),
        migrations.CreateModel(
            name="Practice",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                (
                    "key",
                    models.CharField(
                        default=clinic.access.models.random_key, editable=False, max_length=12, unique=True
                    ),
                ),
                ("version", models.PositiveIntegerField(default=1, editable=False)),
                ("code", models.SlugField(max_length=20, unique=True)),
                ("name", models.CharField(max_length=100)),
                ("is_demo", models.BooleanField(default=False)),
                ("audit_year_starts_month", models.PositiveSmallIntegerField(default=4)),
                (
                    "exposure_bands_seconds",
                    models.JSONField(
                        default=clinic.access.models.default_bands,
                        validators=[clinic.access.models.bands_are_ascending],
                    ),
                ),
                ("exposure_note_seconds", models.PositiveSmallIntegerField(default=180)),
                ("exposure_note_below_seconds", models.PositiveSmallIntegerField(blank=True, null=True)),
                ("tourniquet_note_minutes", models.PositiveSmallIntegerField(default=20)),
                ("tourniquet_alarm_minutes", models.PositiveSmallIntegerField(default=30)),
                ("recurrence_standard", models.DecimalField(decimal_places=3, default="0.050", max_digits=4)),
                (
                    "staging_system",
                    models.CharField(
                        blank=True, choices=clinic.vocabulary.procedure.StageSystem.choices, default="", max_length=15
                    ),
                ),
                ("agents_offered", models.JSONField(default=clinic.access.models.every_agent)),
                ("anaesthetics_offered", models.JSONField(default=clinic.access.models.every_anaesthetic)),
                ("dressings_offered", models.JSONField(default=clinic.access.models.every_dressing)),
                ("checklist_wording", models.JSONField(blank=True, default=dict)),
            ],
            options={
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("audit_year_starts_month__gte", 1), ("audit_year_starts_month__lte", 12)),
                        name="practice_year_month",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("recurrence_standard__gt", 0), ("recurrence_standard__lt", 1)),
                        name="practice_standard_share",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("staging_system__in", ["", "heifetz", "mozena", "martinez_nova"])),
                        name="practice_staging_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("exposure_note_seconds__gte", 1), ("exposure_note_seconds__lte", 1800)),
                            ("exposure_note_seconds__isnull", True),
                            _connector="OR",
                        ),
                        name="practice_exposure_note_seconds_range",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("exposure_note_below_seconds__isnull", True),
                            models.Q(
                                ("exposure_note_below_seconds__gte", 1),
                                ("exposure_note_below_seconds__lt", models.F("exposure_note_seconds")),
                            ),
                            _connector="OR",
                        ),
                        name="practice_exposure_range",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("tourniquet_alarm_minutes__gt", models.F("tourniquet_note_minutes")),
                            ("tourniquet_alarm_minutes__lte", 120),
                            ("tourniquet_note_minutes__gte", 1),
                        ),
                        name="practice_tourniquet_minutes",
                    ),
                ],
            },
        ),
        migrations.AddField(
            model_name="patient",
            name="practice",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT, related_name="patients", to="clinic.practice"
            ),
        ),
        migrations.AddField(
            model_name="operationtemplate",
            name="practice",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT, related_name="operation_templates", to="clinic.practice"
            ),
        ),
        migrations.AddField(
            model_name="operation",
            name="practice",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT, related_name="operations", to="clinic.practice"
            ),
        ),
        migrations.CreateModel(
            name="HistoricalPatient",
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
                    "sex",
                    models.CharField(
                        choices=clinic.vocabulary.procedure.Sex.choices,
                        default=clinic.vocabulary.procedure.Sex["NOT_RECORDED"],
                        max_length=15,
                    ),
                ),
                (
                    "diabetes",
                    models.CharField(
                        choices=clinic.vocabulary.procedure.Answer.choices,
                        default=clinic.vocabulary.procedure.Answer["NOT_RECORDED"],
                        max_length=15,
                    ),
                ),
                (
                    "antithrombotic",
                    models.CharField(
                        choices=clinic.vocabulary.procedure.Answer.choices,
                        default=clinic.vocabulary.procedure.Answer["NOT_RECORDED"],
                        max_length=15,
                    ),
                ),
                (
                    "poor_circulation",
                    models.CharField(
                        choices=clinic.vocabulary.procedure.Answer.choices,
                        default=clinic.vocabulary.procedure.Answer["NOT_RECORDED"],
                        max_length=15,
                    ),
                ),
                (
                    "immunosuppressed",
                    models.CharField(
                        choices=clinic.vocabulary.procedure.Answer.choices,
                        default=clinic.vocabulary.procedure.Answer["NOT_RECORDED"],
                        max_length=15,
                    ),
                ),
                ("no_contact_wished", models.BooleanField(default=False)),
                ("died_on", models.DateField(blank=True, null=True)),
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
                "verbose_name": "historical patient",
                "verbose_name_plural": "historical patients",
                "ordering": ("-history_date", "-history_id"),
                "get_latest_by": ("history_date", "history_id"),
            },
            bases=(simple_history.models.HistoricalChanges, models.Model),
        ),
        migrations.CreateModel(
            name="HistoricalOperationTemplate",
            fields=[
                ("id", models.BigIntegerField(auto_created=True, blank=True, db_index=True, verbose_name="ID")),
                (
                    "key",
                    models.CharField(
                        db_index=True, default=clinic.access.models.random_key, editable=False, max_length=12
                    ),
                ),
                ("version", models.PositiveIntegerField(default=1, editable=False)),
                ("name", models.CharField(max_length=60)),
                ("offered", models.BooleanField(default=True)),
                ("technique", models.CharField(choices=clinic.vocabulary.procedure.Technique.choices, max_length=20)),
                (
                    "agent",
                    models.CharField(
                        blank=True, choices=clinic.vocabulary.procedure.Agent.choices, default="", max_length=20
                    ),
                ),
                ("strength_percent", models.DecimalField(blank=True, decimal_places=1, max_digits=4, null=True)),
                (
                    "strength_basis",
                    models.CharField(
                        blank=True, choices=clinic.vocabulary.procedure.StrengthBasis.choices, default="", max_length=15
                    ),
                ),
                (
                    "lavage",
                    models.CharField(
                        blank=True, choices=clinic.vocabulary.procedure.Lavage.choices, default="", max_length=15
                    ),
                ),
                (
                    "tourniquet",
                    models.CharField(
                        blank=True, choices=clinic.vocabulary.procedure.Tourniquet.choices, default="", max_length=15
                    ),
                ),
                (
                    "skin_protected",
                    models.CharField(
                        blank=True, choices=clinic.vocabulary.procedure.Answer.choices, default="", max_length=15
                    ),
                ),
                (
                    "haemostasis",
                    models.CharField(
                        blank=True, choices=clinic.vocabulary.theatre.Haemostasis.choices, default="", max_length=15
                    ),
                ),
                (
                    "dressing",
                    models.CharField(
                        blank=True, choices=clinic.vocabulary.theatre.Dressing.choices, default="", max_length=15
                    ),
                ),
                (
                    "outer_dressing",
                    models.CharField(
                        blank=True, choices=clinic.vocabulary.theatre.OuterDressing.choices, default="", max_length=15
                    ),
                ),
                (
                    "aftercare",
                    models.CharField(
                        blank=True, choices=clinic.vocabulary.theatre.Aftercare.choices, default="", max_length=15
                    ),
                ),
                ("aftercare_sheet", models.CharField(blank=True, default="", max_length=60)),
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
                "verbose_name": "historical operation template",
                "verbose_name_plural": "historical operation templates",
                "ordering": ("-history_date", "-history_id"),
                "get_latest_by": ("history_date", "history_id"),
            },
            bases=(simple_history.models.HistoricalChanges, models.Model),
        ),
        migrations.CreateModel(
            name="HistoricalOperation",
            fields=[
                ("id", models.BigIntegerField(auto_created=True, blank=True, db_index=True, verbose_name="ID")),
                (
                    "key",
                    models.CharField(
                        db_index=True, default=clinic.access.models.random_key, editable=False, max_length=12
                    ),
                ),
                ("version", models.PositiveIntegerField(default=1, editable=False)),
                ("struck_at", models.DateTimeField(blank=True, editable=False, null=True)),
                ("struck_reason", models.CharField(blank=True, default="", editable=False, max_length=200)),
                ("performed_on", models.DateField()),
                ("age_years", models.PositiveSmallIntegerField(blank=True, null=True)),
                ("weight_kg", models.DecimalField(blank=True, decimal_places=1, max_digits=4, null=True)),
                (
                    "consent_given_by",
                    models.CharField(
                        choices=clinic.vocabulary.procedure.ConsentGiver.choices,
                        default=clinic.vocabulary.procedure.ConsentGiver["NOT_RECORDED"],
                        max_length=15,
                    ),
                ),
                (
                    "dressing",
                    models.CharField(
                        choices=clinic.vocabulary.theatre.Dressing.choices,
                        default=clinic.vocabulary.theatre.Dressing["NOT_RECORDED"],
                        max_length=15,
                    ),
                ),
                (
                    "outer_dressing",
                    models.CharField(
                        choices=clinic.vocabulary.theatre.OuterDressing.choices,
                        default=clinic.vocabulary.theatre.OuterDressing["NOT_RECORDED"],
                        max_length=15,
                    ),
                ),
                (
                    "aftercare",
                    models.CharField(
                        choices=clinic.vocabulary.theatre.Aftercare.choices,
                        default=clinic.vocabulary.theatre.Aftercare["NOT_RECORDED"],
                        max_length=15,
                    ),
                ),
                (
                    "aftercare_sheet",
                    models.CharField(blank=True, default="", help_text="Name and version.", max_length=60),
                ),
                ("note", models.TextField(blank=True, default="", max_length=2000)),
                ("recorded_at", models.DateTimeField()),
                ("signed_at", models.DateTimeField(blank=True, null=True)),
                ("cosigned_at", models.DateTimeField(blank=True, null=True)),
                ("history_id", models.AutoField(primary_key=True, serialize=False)),
                ("history_date", models.DateTimeField(db_index=True)),
                ("history_change_reason", models.TextField(null=True)),
                (
                    "history_type",
                    models.CharField(choices=[("+", "Created"), ("~", "Changed"), ("-", "Deleted")], max_length=1),
                ),
                (
                    "assistant",
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
                    "cosigned_by",
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
                    "history_user",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.SET_NULL,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "operator",
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
                    "recorded_by",
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
                    "signed_by",
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
                    "supervisor",
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
                    "template",
                    models.ForeignKey(
                        blank=True,
                        db_constraint=False,
                        null=True,
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="+",
                        to="clinic.operationtemplate",
                    ),
                ),
                (
                    "patient",
                    models.ForeignKey(
                        blank=True,
                        db_constraint=False,
                        null=True,
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="+",
                        to="clinic.patient",
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
                "verbose_name": "historical operation",
                "verbose_name_plural": "historical operations",
                "ordering": ("-history_date", "-history_id"),
                "get_latest_by": ("history_date", "history_id"),
            },
            bases=(simple_history.models.HistoricalChanges, models.Model),
        ),
        migrations.CreateModel(
            name="HistoricalMember",
            fields=[
                ("id", models.BigIntegerField(auto_created=True, blank=True, db_index=True, verbose_name="ID")),
                (
                    "is_superuser",
                    models.BooleanField(
                        default=False,
                        help_text="Designates that this user has all permissions without explicitly assigning them.",
                        verbose_name="superuser status",
                    ),
                ),
                (
                    "username",
                    models.CharField(
                        db_index=True,
                        error_messages={"unique": "A user with that username already exists."},
                        help_text="Required. 150 characters or fewer. Letters, digits and @/./+/-/_ only.",
                        max_length=150,
                        validators=[django.contrib.auth.validators.UnicodeUsernameValidator()],
                        verbose_name="username",
                    ),
                ),
                ("first_name", models.CharField(blank=True, max_length=150, verbose_name="first name")),
                ("last_name", models.CharField(blank=True, max_length=150, verbose_name="last name")),
                ("email", models.EmailField(blank=True, max_length=254, verbose_name="email address")),
                (
                    "is_staff",
                    models.BooleanField(
                        default=False,
                        help_text="Designates whether the user can log into this admin site.",
                        verbose_name="staff status",
                    ),
                ),
                (
                    "is_active",
                    models.BooleanField(
                        default=True,
                        help_text="Designates whether this user should be treated as active. Unselect this instead of deleting accounts.",
                        verbose_name="active",
                    ),
                ),
                ("date_joined", models.DateTimeField(default=django.utils.timezone.now, verbose_name="date joined")),
                (
                    "key",
                    models.CharField(
                        db_index=True, default=clinic.access.models.random_key, editable=False, max_length=12
                    ),
                ),
                (
                    "role",
                    models.CharField(
                        choices=[
                            ("practitioner", "Practitioner"),
                            ("assistant", "Assistant"),
                            ("reception", "Reception"),
                            ("lead", "Practice lead"),
                            ("administrator", "Administrator"),
                            ("reviewer", "Peer reviewer"),
                        ],
                        default="assistant",
                        max_length=20,
                    ),
                ),
                (
                    "theme",
                    models.CharField(
                        blank=True,
                        choices=[("", "As device"), ("light", "Light"), ("dark", "Dark")],
                        default="",
                        max_length=5,
                    ),
                ),
                ("slash_finds", models.BooleanField(default=True)),
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
                "verbose_name": "historical member",
                "verbose_name_plural": "historical members",
                "ordering": ("-history_date", "-history_id"),
                "get_latest_by": ("history_date", "history_id"),
            },
            bases=(simple_history.models.HistoricalChanges, models.Model),
        ),
        migrations.CreateModel(
            name="HistoricalDoseLimit",
            fields=[
                ("id", models.BigIntegerField(auto_created=True, blank=True, db_index=True, verbose_name="ID")),
                (
                    "key",
                    models.CharField(
                        db_index=True, default=clinic.access.models.random_key, editable=False, max_length=12
                    ),
                ),
                ("version", models.PositiveIntegerField(default=1, editable=False)),
                ("profile", models.CharField(max_length=40)),
                ("agent", models.CharField(choices=clinic.vocabulary.procedure.Anaesthetic.choices, max_length=20)),
                (
                    "vasoconstrictor",
                    models.CharField(choices=clinic.vocabulary.procedure.VasoconstrictorKind.choices, max_length=20),
                ),
                ("mg_per_kg", models.DecimalField(blank=True, decimal_places=2, max_digits=4, null=True)),
                ("absolute_mg", models.DecimalField(blank=True, decimal_places=1, max_digits=5, null=True)),
                ("per_digit_mg", models.DecimalField(blank=True, decimal_places=1, max_digits=4, null=True)),
                ("weight_cap_kg", models.DecimalField(blank=True, decimal_places=1, max_digits=4, null=True)),
                ("period_h", models.PositiveSmallIntegerField(blank=True, null=True)),
                ("source_text", models.CharField(max_length=300)),
                ("needs_check", models.BooleanField(default=False)),
                ("checked_against", models.CharField(blank=True, default="", max_length=200)),
                ("approved_on", models.DateField(blank=True, null=True)),
                ("history_id", models.AutoField(primary_key=True, serialize=False)),
                ("history_date", models.DateTimeField(db_index=True)),
                ("history_change_reason", models.TextField(null=True)),
                (
                    "history_type",
                    models.CharField(choices=[("+", "Created"), ("~", "Changed"), ("-", "Deleted")], max_length=1),
                ),
                (
                    "approved_by",
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
                "verbose_name": "historical dose limit",
                "verbose_name_plural": "historical dose limits",
                "ordering": ("-history_date", "-history_id"),
                "get_latest_by": ("history_date", "history_id"),
            },
            bases=(simple_history.models.HistoricalChanges, models.Model),
        ),
        migrations.CreateModel(
            name="DoseLimit",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                (
                    "key",
                    models.CharField(
                        default=clinic.access.models.random_key, editable=False, max_length=12, unique=True
                    ),
                ),
                ("version", models.PositiveIntegerField(default=1, editable=False)),
                ("profile", models.CharField(max_length=40)),
                ("agent", models.CharField(choices=clinic.vocabulary.procedure.Anaesthetic.choices, max_length=20)),
                (
                    "vasoconstrictor",
                    models.CharField(choices=clinic.vocabulary.procedure.VasoconstrictorKind.choices, max_length=20),
                ),
                ("mg_per_kg", models.DecimalField(blank=True, decimal_places=2, max_digits=4, null=True)),
                ("absolute_mg", models.DecimalField(blank=True, decimal_places=1, max_digits=5, null=True)),
                ("per_digit_mg", models.DecimalField(blank=True, decimal_places=1, max_digits=4, null=True)),
                ("weight_cap_kg", models.DecimalField(blank=True, decimal_places=1, max_digits=4, null=True)),
                ("period_h", models.PositiveSmallIntegerField(blank=True, null=True)),
                ("source_text", models.CharField(max_length=300)),
                ("needs_check", models.BooleanField(default=False)),
                ("checked_against", models.CharField(blank=True, default="", max_length=200)),
                ("approved_on", models.DateField(blank=True, null=True)),
                (
                    "approved_by",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "practice",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="dose_limits", to="clinic.practice"
                    ),
                ),
            ],
            options={
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(
                            (
                                "agent__in",
                                [
                                    "lidocaine",
                                    "mepivacaine",
                                    "prilocaine",
                                    "bupivacaine",
                                    "levobupivacaine",
                                    "ropivacaine",
                                    "articaine",
                                    "other",
                                ],
                            )
                        ),
                        name="doselimit_agent_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("agent", "other"), _negated=True), name="doselimit_agent_named"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("vasoconstrictor__in", ["none", "adrenaline", "felypressin"])),
                        name="doselimit_vasoconstrictor_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("profile", ""), _negated=True), models.Q(("source_text", ""), _negated=True)
                        ),
                        name="doselimit_profile_and_source",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("mg_per_kg__gte", 0.1), ("mg_per_kg__lte", 20)),
                            ("mg_per_kg__isnull", True),
                            _connector="OR",
                        ),
                        name="doselimit_mg_per_kg_range",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("absolute_mg__gte", 1), ("absolute_mg__lte", 2000)),
                            ("absolute_mg__isnull", True),
                            _connector="OR",
                        ),
                        name="doselimit_absolute_mg_range",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("per_digit_mg__gte", 1), ("per_digit_mg__lte", 500)),
                            ("per_digit_mg__isnull", True),
                            _connector="OR",
                        ),
                        name="doselimit_per_digit_mg_range",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("weight_cap_kg__gte", 5), ("weight_cap_kg__lte", 300)),
                            ("weight_cap_kg__isnull", True),
                            _connector="OR",
                        ),
                        name="doselimit_weight_cap_kg_range",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("period_h__gte", 1), ("period_h__lte", 72)),
                            ("period_h__isnull", True),
                            _connector="OR",
                        ),
                        name="doselimit_period_h_range",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("mg_per_kg__isnull", False), ("absolute_mg__isnull", False), _connector="OR"
                        ),
                        name="doselimit_limits_something",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("weight_cap_kg__isnull", True), ("mg_per_kg__isnull", False), _connector="OR"
                        ),
                        name="doselimit_cap_of_mg_per_kg",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(
                                ("approved_by__isnull", True), ("approved_on__isnull", True), ("checked_against", "")
                            ),
                            models.Q(
                                ("approved_by__isnull", False),
                                ("approved_on__isnull", False),
                                ("needs_check", False),
                                models.Q(("checked_against", ""), _negated=True),
                            ),
                            _connector="OR",
                        ),
                        name="doselimit_approved_when_checked",
                    ),
                    models.UniqueConstraint(
                        fields=("practice", "profile", "agent", "vasoconstrictor"), name="doselimit_profile_once"
                    ),
                    models.UniqueConstraint(
                        condition=models.Q(("approved_on__isnull", False)),
                        fields=("practice", "agent", "vasoconstrictor"),
                        name="doselimit_one_approved",
                    ),
                ],
            },
        ),
        migrations.AddField(
            model_name="member",
            name="practice",
            field=models.ForeignKey(
                null=True, on_delete=django.db.models.deletion.PROTECT, related_name="members", to="clinic.practice"
            ),
        ),
        migrations.CreateModel(
            name="RedFlag",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                (
                    "key",
                    models.CharField(
                        default=clinic.access.models.random_key, editable=False, max_length=12, unique=True
                    ),
                ),
                ("version", models.PositiveIntegerField(default=1, editable=False)),
                ("alert", models.CharField(choices=clinic.vocabulary.redflag.Alert.choices, max_length=20)),
                ("level", models.CharField(choices=clinic.vocabulary.redflag.AlertLevel.choices, max_length=10)),
                ("fact", models.CharField(max_length=300)),
                ("toe_key", models.CharField(blank=True, default="", max_length=12)),
                ("origin", models.CharField(choices=clinic.vocabulary.redflag.AlertOrigin.choices, max_length=15)),
                ("source_key", models.CharField(blank=True, default="", max_length=12)),
                ("raised_at", models.DateTimeField()),
                (
                    "action",
                    models.CharField(
                        blank=True, choices=clinic.vocabulary.redflag.AlertAction.choices, default="", max_length=15
                    ),
                ),
                ("action_text", models.CharField(blank=True, default="", max_length=500)),
                ("answered_at", models.DateTimeField(blank=True, null=True)),
                ("lapsed_at", models.DateTimeField(blank=True, null=True)),
                (
                    "answered_by",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "operation",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="red_flags", to="clinic.operation"
                    ),
                ),
                (
                    "raised_by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
            ],
            options={
                "ordering": ("raised_at", "pk"),
                "indexes": [models.Index(fields=["operation", "answered_at"], name="clinic_redf_operati_7a1369_idx")],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(
                            (
                                "alert__in",
                                [
                                    "tourniquet_left",
                                    "tourniquet_long",
                                    "ischaemia",
                                    "dose_above",
                                    "dose_near",
                                    "la_toxicity",
                                    "anaphylaxis",
                                    "agent_exposure",
                                    "agent_toxicity",
                                    "cellulitis",
                                    "sepsis",
                                    "bone_infection",
                                    "high_risk_foot",
                                    "pain_syndrome",
                                    "not_healing",
                                    "expired",
                                    "safety",
                                ],
                            )
                        ),
                        name="redflag_alert_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("level__in", ["red", "amber"])), name="redflag_level_known"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("origin__in", ["operation", "review", "contact"])),
                        name="redflag_origin_known",
                    ),
                    models.CheckConstraint(condition=models.Q(("fact", ""), _negated=True), name="redflag_says_what"),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(
                                ("action", ""),
                                ("action_text", ""),
                                ("answered_at__isnull", True),
                                ("answered_by__isnull", True),
                            ),
                            models.Q(
                                ("action__in", ["examined", "told", "protocol", "handed_over", "not_so"]),
                                ("answered_at__gte", models.F("raised_at")),
                                ("answered_at__isnull", False),
                                ("answered_by__isnull", False),
                                models.Q(("action_text", ""), _negated=True),
                            ),
                            _connector="OR",
                        ),
                        name="redflag_answered_by_somebody_in_words",
                    ),
                    models.UniqueConstraint(
                        condition=models.Q(("lapsed_at__isnull", True)),
                        fields=("operation", "alert", "fact", "toe_key", "origin", "source_key"),
                        name="redflag_once_per_entry",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="RedFlagSeen",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("at", models.DateTimeField()),
                (
                    "by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
                (
                    "flag",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="seen", to="clinic.redflag"
                    ),
                ),
            ],
            options={
                "ordering": ("at", "pk"),
                "constraints": [models.UniqueConstraint(fields=("flag", "by"), name="redflag_seen_once_by")],
            },
        ),
        migrations.CreateModel(
            name="Review",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                (
                    "key",
                    models.CharField(
                        default=clinic.access.models.random_key, editable=False, max_length=12, unique=True
                    ),
                ),
                ("version", models.PositiveIntegerField(default=1, editable=False)),
                ("struck_at", models.DateTimeField(blank=True, editable=False, null=True)),
                ("struck_reason", models.CharField(blank=True, default="", editable=False, max_length=200)),
                ("operated_on", models.DateField(editable=False)),
                ("seen_on", models.DateField()),
                ("origin", models.CharField(choices=clinic.vocabulary.review.Origin.choices, max_length=10)),
                ("observer", models.CharField(choices=clinic.vocabulary.review.Observer.choices, max_length=15)),
                ("means", models.CharField(choices=clinic.vocabulary.review.Means.choices, max_length=15)),
                (
                    "next_step",
                    models.CharField(
                        choices=clinic.vocabulary.review.NextStep.choices,
                        default=clinic.vocabulary.review.NextStep["AS_PLANNED"],
                        max_length=15,
                    ),
                ),
                ("next_reason", models.CharField(blank=True, default="", max_length=200)),
                ("note", models.TextField(blank=True, default="", max_length=2000)),
                ("recorded_at", models.DateTimeField()),
                ("accepted_at", models.DateTimeField(blank=True, null=True)),
                (
                    "accepted_by",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "operation",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="reviews", to="clinic.operation"
                    ),
                ),
                (
                    "recorded_by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
                (
                    "seen_by",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="reviews_seen",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
            ],
            options={
                "ordering": ("seen_on", "pk"),
                "indexes": [models.Index(fields=["operation", "seen_on"], name="clinic_revi_operati_d7ef27_idx")],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("seen_on__gte", models.F("operated_on"))),
                        name="review_not_before_operation",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("origin__in", ["planned", "patient"])), name="review_origin_known"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("observer__in", ["operator", "colleague", "independent", "patient", "other_provider"])
                        ),
                        name="review_observer_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("means__in", ["in_person", "photo", "phone", "questionnaire", "letter"])),
                        name="review_means_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("next_step__in", ["as_planned", "sooner", "end_clinic"])),
                        name="review_next_step_known",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="Photograph",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                (
                    "key",
                    models.CharField(
                        default=clinic.access.models.random_key, editable=False, max_length=12, unique=True
                    ),
                ),
                ("version", models.PositiveIntegerField(default=1, editable=False)),
                ("struck_at", models.DateTimeField(blank=True, editable=False, null=True)),
                ("struck_reason", models.CharField(blank=True, default="", editable=False, max_length=200)),
                ("taken_on", models.DateField()),
                (
                    "consent_for",
                    models.CharField(choices=clinic.vocabulary.photograph.PhotographUse.choices, max_length=15),
                ),
                (
                    "consent_given_by",
                    models.CharField(choices=clinic.vocabulary.procedure.ConsentGiver.choices, max_length=15),
                ),
                ("consent_given_on", models.DateField()),
                ("note", models.CharField(blank=True, default="", max_length=200)),
                (
                    "file_name",
                    models.CharField(
                        default=clinic.photographs.models.random_file_name, editable=False, max_length=32, unique=True
                    ),
                ),
                ("media_type", models.CharField(editable=False, max_length=10)),
                ("width", models.PositiveSmallIntegerField(editable=False)),
                ("height", models.PositiveSmallIntegerField(editable=False)),
                ("sha256", models.CharField(editable=False, max_length=64)),
                ("added_at", models.DateTimeField()),
                ("withdrawn_at", models.DateTimeField(blank=True, null=True)),
                (
                    "added_by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="photographs_added",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "nail_procedure",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="photographs",
                        to="clinic.nailprocedure",
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
                (
                    "review",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="photographs",
                        to="clinic.review",
                    ),
                ),
            ],
            options={
                "ordering": ("taken_on", "pk"),
                "indexes": [
                    models.Index(fields=["nail_procedure", "taken_on"], name="clinic_phot_nail_pr_a7f2e5_idx"),
                    models.Index(fields=["sha256"], name="clinic_phot_sha256_c3263a_idx"),
                ],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("consent_for__in", ["care", "care_teaching"])),
                        name="photograph_consent_for_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("consent_given_by__in", ["patient", "parent", "other", "not_recorded"])),
                        name="photograph_consent_given_by_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("consent_given_by", "not_recorded"), _negated=True),
                        name="photograph_has_consent",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("consent_given_on__gte", datetime.date(1900, 1, 1)),
                            ("taken_on__gte", datetime.date(1900, 1, 1)),
                        ),
                        name="photograph_not_before_1900",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("media_type__in", ["image/jpeg", "image/png"])),
                        name="photograph_media_type_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("width__gte", 1), ("width__lte", 2400)), ("width__isnull", True), _connector="OR"
                        ),
                        name="photograph_width_range",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("height__gte", 1), ("height__lte", 2400)),
                            ("height__isnull", True),
                            _connector="OR",
                        ),
                        name="photograph_height_range",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("file_name", ""), _negated=True), models.Q(("sha256", ""), _negated=True)
                        ),
                        name="photograph_names_its_file",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("struck_at__isnull", True), models.Q(("struck_reason", ""), _negated=True), _connector="OR"
                        ),
                        name="photograph_struck_with_reason",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("withdrawn_at__isnull", True), ("withdrawn_by__isnull", True)),
                            models.Q(("withdrawn_at__isnull", False), ("withdrawn_by__isnull", False)),
                            _connector="OR",
                        ),
                        name="photograph_withdrawn_by_and_at",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="HistoricalToeFinding",
            fields=[
                ("id", models.BigIntegerField(auto_created=True, blank=True, db_index=True, verbose_name="ID")),
                (
                    "key",
                    models.CharField(
                        db_index=True, default=clinic.access.models.random_key, editable=False, max_length=12
                    ),
                ),
                ("version", models.PositiveIntegerField(default=1, editable=False)),
                ("healing", models.CharField(choices=clinic.vocabulary.review.Healing.choices, max_length=15)),
                ("signs", models.CharField(choices=clinic.vocabulary.review.Signs.choices, max_length=15)),
                ("fluid_colour", models.CharField(choices=clinic.vocabulary.review.FluidColour.choices, max_length=15)),
                (
                    "fluid_consistency",
                    models.CharField(choices=clinic.vocabulary.review.FluidConsistency.choices, max_length=15),
                ),
                ("fluid_amount", models.CharField(choices=clinic.vocabulary.review.FluidAmount.choices, max_length=15)),
                ("erythema_mm", models.PositiveSmallIntegerField(blank=True, null=True)),
                ("spreading", models.CharField(choices=clinic.vocabulary.procedure.Answer.choices, max_length=15)),
                ("swelling", models.CharField(choices=clinic.vocabulary.procedure.Answer.choices, max_length=15)),
                ("warmth", models.CharField(choices=clinic.vocabulary.procedure.Answer.choices, max_length=15)),
                ("tenderness", models.CharField(choices=clinic.vocabulary.procedure.Answer.choices, max_length=15)),
                ("odour", models.CharField(choices=clinic.vocabulary.procedure.Answer.choices, max_length=15)),
                ("lymphangitis", models.CharField(choices=clinic.vocabulary.procedure.Answer.choices, max_length=15)),
                ("wound_opened", models.CharField(choices=clinic.vocabulary.procedure.Answer.choices, max_length=15)),
                ("swab", models.CharField(choices=clinic.vocabulary.review.Swab.choices, max_length=15)),
                ("antibiotic", models.CharField(choices=clinic.vocabulary.review.Antibiotic.choices, max_length=15)),
                ("diagnosis", models.CharField(choices=clinic.vocabulary.review.Diagnosis.choices, max_length=15)),
                ("pain_state", models.CharField(choices=clinic.vocabulary.review.PainState.choices, max_length=15)),
                ("pain", models.PositiveSmallIntegerField(blank=True, null=True)),
                (
                    "over_granulation",
                    models.CharField(choices=clinic.vocabulary.procedure.Answer.choices, max_length=15),
                ),
                ("skin_burn", models.CharField(choices=clinic.vocabulary.procedure.Answer.choices, max_length=15)),
                ("numbness", models.CharField(choices=clinic.vocabulary.procedure.Answer.choices, max_length=15)),
                (
                    "dusky",
                    models.CharField(
                        choices=clinic.vocabulary.procedure.Answer.choices,
                        default=clinic.vocabulary.procedure.Answer["NOT_RECORDED"],
                        max_length=15,
                    ),
                ),
                (
                    "altered_pain",
                    models.CharField(
                        choices=clinic.vocabulary.procedure.Answer.choices,
                        default=clinic.vocabulary.procedure.Answer["NOT_RECORDED"],
                        max_length=15,
                    ),
                ),
                (
                    "pigment",
                    models.CharField(
                        choices=clinic.vocabulary.procedure.Answer.choices,
                        default=clinic.vocabulary.procedure.Answer["NOT_RECORDED"],
                        max_length=15,
                    ),
                ),
                (
                    "bone_signs",
                    models.CharField(
                        choices=clinic.vocabulary.procedure.Answer.choices,
                        default=clinic.vocabulary.procedure.Answer["NOT_RECORDED"],
                        max_length=15,
                    ),
                ),
                (
                    "unwell",
                    models.CharField(
                        choices=clinic.vocabulary.procedure.Answer.choices,
                        default=clinic.vocabulary.procedure.Answer["NOT_RECORDED"],
                        max_length=15,
                    ),
                ),
                ("temperature_c", models.DecimalField(blank=True, decimal_places=1, max_digits=3, null=True)),
                ("pulse", models.PositiveSmallIntegerField(blank=True, help_text="beats a minute", null=True)),
                (
                    "respiratory_rate",
                    models.PositiveSmallIntegerField(blank=True, help_text="breaths a minute", null=True),
                ),
                (
                    "untreated_side",
                    models.CharField(choices=clinic.vocabulary.review.UntreatedSide.choices, max_length=15),
                ),
                (
                    "satisfaction",
                    models.CharField(
                        choices=clinic.vocabulary.review.Satisfaction.choices,
                        default=clinic.vocabulary.review.Satisfaction["NOT_ASKED"],
                        max_length=20,
                    ),
                ),
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
                    "nail_procedure",
                    models.ForeignKey(
                        blank=True,
                        db_constraint=False,
                        null=True,
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="+",
                        to="clinic.nailprocedure",
                    ),
                ),
                (
                    "review",
                    models.ForeignKey(
                        blank=True,
                        db_constraint=False,
                        null=True,
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="+",
                        to="clinic.review",
                    ),
                ),
            ],
            options={
                "verbose_name": "historical toe finding",
                "verbose_name_plural": "historical toe findings",
                "ordering": ("-history_date", "-history_id"),
                "get_latest_by": ("history_date", "history_id"),
            },
            bases=(simple_history.models.HistoricalChanges, models.Model),
        ),
        migrations.CreateModel(
            name="HistoricalPhotograph",
            fields=[
                ("id", models.BigIntegerField(auto_created=True, blank=True, db_index=True, verbose_name="ID")),
                (
                    "key",
                    models.CharField(
                        db_index=True, default=clinic.access.models.random_key, editable=False, max_length=12
                    ),
                ),
                ("version", models.PositiveIntegerField(default=1, editable=False)),
                ("struck_at", models.DateTimeField(blank=True, editable=False, null=True)),
                ("struck_reason", models.CharField(blank=True, default="", editable=False, max_length=200)),
                ("taken_on", models.DateField()),
                (
                    "consent_for",
                    models.CharField(choices=clinic.vocabulary.photograph.PhotographUse.choices, max_length=15),
                ),
                (
                    "consent_given_by",
                    models.CharField(choices=clinic.vocabulary.procedure.ConsentGiver.choices, max_length=15),
                ),
                ("consent_given_on", models.DateField()),
                ("note", models.CharField(blank=True, default="", max_length=200)),
                (
                    "file_name",
                    models.CharField(
                        db_index=True, default=clinic.photographs.models.random_file_name, editable=False, max_length=32
                    ),
                ),
                ("media_type", models.CharField(editable=False, max_length=10)),
                ("width", models.PositiveSmallIntegerField(editable=False)),
                ("height", models.PositiveSmallIntegerField(editable=False)),
                ("sha256", models.CharField(editable=False, max_length=64)),
                ("added_at", models.DateTimeField()),
                ("withdrawn_at", models.DateTimeField(blank=True, null=True)),
                ("history_id", models.AutoField(primary_key=True, serialize=False)),
                ("history_date", models.DateTimeField(db_index=True)),
                ("history_change_reason", models.TextField(null=True)),
                (
                    "history_type",
                    models.CharField(choices=[("+", "Created"), ("~", "Changed"), ("-", "Deleted")], max_length=1),
                ),
                (
                    "added_by",
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
                    "history_user",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.SET_NULL,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
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
                (
                    "nail_procedure",
                    models.ForeignKey(
                        blank=True,
                        db_constraint=False,
                        null=True,
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="+",
                        to="clinic.nailprocedure",
                    ),
                ),
                (
                    "review",
                    models.ForeignKey(
                        blank=True,
                        db_constraint=False,
                        null=True,
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="+",
                        to="clinic.review",
                    ),
                ),
            ],
            options={
                "verbose_name": "historical photograph",
                "verbose_name_plural": "historical photographs",
                "ordering": ("-history_date", "-history_id"),
                "get_latest_by": ("history_date", "history_id"),
            },
            bases=(simple_history.models.HistoricalChanges, models.Model),
        ),
        migrations.CreateModel(
            name="SiteDecision",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("fact", models.CharField(max_length=300)),
                ("outcome", models.CharField(choices=clinic.vocabulary.procedure.SiteOutcome.choices, max_length=20)),
                ("text", models.CharField(max_length=500)),
                ("decided_at", models.DateTimeField()),
                (
                    "decided_by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
                (
                    "nail_procedure",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="site_decisions",
                        to="clinic.nailprocedure",
                    ),
                ),
                (
                    "operation",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="site_decisions",
                        to="clinic.operation",
                    ),
                ),
            ],
            options={
                "ordering": ("decided_at", "pk"),
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("outcome__in", ["agreed", "miswritten", "not_agreed"])),
                        name="sitedecision_outcome_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("text", ""), _negated=True), models.Q(("fact", ""), _negated=True)
                        ),
                        name="sitedecision_says_why",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="Submission",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("token", models.CharField(max_length=40, unique=True)),
                ("made_at", models.DateTimeField(auto_now_add=True)),
                ("leads_to", models.CharField(max_length=200)),
                ("member", models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, to=settings.AUTH_USER_MODEL)),
            ],
        ),
        migrations.CreateModel(
            name="ToeFinding",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                (
                    "key",
                    models.CharField(
                        default=clinic.access.models.random_key, editable=False, max_length=12, unique=True
                    ),
                ),
                ("version", models.PositiveIntegerField(default=1, editable=False)),
                ("healing", models.CharField(choices=clinic.vocabulary.review.Healing.choices, max_length=15)),
                ("signs", models.CharField(choices=clinic.vocabulary.review.Signs.choices, max_length=15)),
                ("fluid_colour", models.CharField(choices=clinic.vocabulary.review.FluidColour.choices, max_length=15)),
                (
                    "fluid_consistency",
                    models.CharField(choices=clinic.vocabulary.review.FluidConsistency.choices, max_length=15),
                ),
                ("fluid_amount", models.CharField(choices=clinic.vocabulary.review.FluidAmount.choices, max_length=15)),
                ("erythema_mm", models.PositiveSmallIntegerField(blank=True, null=True)),
                ("spreading", models.CharField(choices=clinic.vocabulary.procedure.Answer.choices, max_length=15)),
                ("swelling", models.CharField(choices=clinic.vocabulary.procedure.Answer.choices, max_length=15)),
                ("warmth", models.CharField(choices=clinic.vocabulary.procedure.Answer.choices, max_length=15)),
                ("tenderness", models.CharField(choices=clinic.vocabulary.procedure.Answer.choices, max_length=15)),
                ("odour", models.CharField(choices=clinic.vocabulary.procedure.Answer.choices, max_length=15)),
                ("lymphangitis", models.CharField(choices=clinic.vocabulary.procedure.Answer.choices, max_length=15)),
                ("wound_opened", models.CharField(choices=clinic.vocabulary.procedure.Answer.choices, max_length=15)),
                ("swab", models.CharField(choices=clinic.vocabulary.review.Swab.choices, max_length=15)),
                ("antibiotic", models.CharField(choices=clinic.vocabulary.review.Antibiotic.choices, max_length=15)),
                ("diagnosis", models.CharField(choices=clinic.vocabulary.review.Diagnosis.choices, max_length=15)),
                ("pain_state", models.CharField(choices=clinic.vocabulary.review.PainState.choices, max_length=15)),
                ("pain", models.PositiveSmallIntegerField(blank=True, null=True)),
                (
                    "over_granulation",
                    models.CharField(choices=clinic.vocabulary.procedure.Answer.choices, max_length=15),
                ),
                ("skin_burn", models.CharField(choices=clinic.vocabulary.procedure.Answer.choices, max_length=15)),
                ("numbness", models.CharField(choices=clinic.vocabulary.procedure.Answer.choices, max_length=15)),
                (
                    "dusky",
                    models.CharField(
                        choices=clinic.vocabulary.procedure.Answer.choices,
                        default=clinic.vocabulary.procedure.Answer["NOT_RECORDED"],
                        max_length=15,
                    ),
                ),
                (
                    "altered_pain",
                    models.CharField(
                        choices=clinic.vocabulary.procedure.Answer.choices,
                        default=clinic.vocabulary.procedure.Answer["NOT_RECORDED"],
                        max_length=15,
                    ),
                ),
                (
                    "pigment",
                    models.CharField(
                        choices=clinic.vocabulary.procedure.Answer.choices,
                        default=clinic.vocabulary.procedure.Answer["NOT_RECORDED"],
                        max_length=15,
                    ),
                ),
                (
                    "bone_signs",
                    models.CharField(
                        choices=clinic.vocabulary.procedure.Answer.choices,
                        default=clinic.vocabulary.procedure.Answer["NOT_RECORDED"],
                        max_length=15,
                    ),
                ),
                (
                    "unwell",
                    models.CharField(
                        choices=clinic.vocabulary.procedure.Answer.choices,
                        default=clinic.vocabulary.procedure.Answer["NOT_RECORDED"],
                        max_length=15,
                    ),
                ),
                ("temperature_c", models.DecimalField(blank=True, decimal_places=1, max_digits=3, null=True)),
                ("pulse", models.PositiveSmallIntegerField(blank=True, help_text="beats a minute", null=True)),
                (
                    "respiratory_rate",
                    models.PositiveSmallIntegerField(blank=True, help_text="breaths a minute", null=True),
                ),
                (
                    "untreated_side",
                    models.CharField(choices=clinic.vocabulary.review.UntreatedSide.choices, max_length=15),
                ),
                (
                    "satisfaction",
                    models.CharField(
                        choices=clinic.vocabulary.review.Satisfaction.choices,
                        default=clinic.vocabulary.review.Satisfaction["NOT_ASKED"],
                        max_length=20,
                    ),
                ),
                (
                    "nail_procedure",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="findings", to="clinic.nailprocedure"
                    ),
                ),
                (
                    "review",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="toe_findings", to="clinic.review"
                    ),
                ),
            ],
            options={
                "constraints": [
                    models.UniqueConstraint(fields=("review", "nail_procedure"), name="toe_once_per_review"),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("healing__in", ["dry", "moist", "not_healing", "cannot_tell", "not_assessed"])
                        ),
                        name="toefinding_healing_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("signs__in", ["none_seen", "some", "cannot_tell", "not_assessed"])),
                        name="toefinding_signs_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            (
                                "fluid_colour__in",
                                ["none", "clear", "straw", "yellow", "green", "blood", "brown", "not_assessed"],
                            )
                        ),
                        name="toefinding_fluid_colour_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            (
                                "fluid_consistency__in",
                                ["none", "thin", "thick", "creamy", "milky", "opaque", "viscous", "not_assessed"],
                            )
                        ),
                        name="toefinding_fluid_consistency_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("fluid_amount__in", ["dry", "spotting", "moderate", "soaked", "not_assessed"])
                        ),
                        name="toefinding_fluid_amount_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("erythema_mm__gte", 0), ("erythema_mm__lte", 100)),
                            ("erythema_mm__isnull", True),
                            _connector="OR",
                        ),
                        name="toefinding_erythema_mm_range",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("spreading__in", ["yes", "no", "not_assessed", "not_applicable", "not_recorded"])
                        ),
                        name="toefinding_spreading_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("swelling__in", ["yes", "no", "not_assessed", "not_applicable", "not_recorded"])
                        ),
                        name="toefinding_swelling_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("warmth__in", ["yes", "no", "not_assessed", "not_applicable", "not_recorded"])
                        ),
                        name="toefinding_warmth_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("tenderness__in", ["yes", "no", "not_assessed", "not_applicable", "not_recorded"])
                        ),
                        name="toefinding_tenderness_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("odour__in", ["yes", "no", "not_assessed", "not_applicable", "not_recorded"])
                        ),
                        name="toefinding_odour_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("lymphangitis__in", ["yes", "no", "not_assessed", "not_applicable", "not_recorded"])
                        ),
                        name="toefinding_lymphangitis_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("wound_opened__in", ["yes", "no", "not_assessed", "not_applicable", "not_recorded"])
                        ),
                        name="toefinding_wound_opened_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("over_granulation__in", ["yes", "no", "not_assessed", "not_applicable", "not_recorded"])
                        ),
                        name="toefinding_over_granulation_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("skin_burn__in", ["yes", "no", "not_assessed", "not_applicable", "not_recorded"])
                        ),
                        name="toefinding_skin_burn_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("numbness__in", ["yes", "no", "not_assessed", "not_applicable", "not_recorded"])
                        ),
                        name="toefinding_numbness_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("dusky__in", ["yes", "no", "not_assessed", "not_applicable", "not_recorded"])
                        ),
                        name="toefinding_dusky_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("altered_pain__in", ["yes", "no", "not_assessed", "not_applicable", "not_recorded"])
                        ),
                        name="toefinding_altered_pain_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("pigment__in", ["yes", "no", "not_assessed", "not_applicable", "not_recorded"])
                        ),
                        name="toefinding_pigment_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("bone_signs__in", ["yes", "no", "not_assessed", "not_applicable", "not_recorded"])
                        ),
                        name="toefinding_bone_signs_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("unwell__in", ["yes", "no", "not_assessed", "not_applicable", "not_recorded"])
                        ),
                        name="toefinding_unwell_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("temperature_c__gte", 34), ("temperature_c__lte", 42)),
                            ("temperature_c__isnull", True),
                            _connector="OR",
                        ),
                        name="toefinding_temperature_c_range",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("pulse__gte", 30), ("pulse__lte", 220)), ("pulse__isnull", True), _connector="OR"
                        ),
                        name="toefinding_pulse_range",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("respiratory_rate__gte", 5), ("respiratory_rate__lte", 60)),
                            ("respiratory_rate__isnull", True),
                            _connector="OR",
                        ),
                        name="toefinding_respiratory_rate_range",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            (
                                "swab__in",
                                ["not_taken", "pending", "no_growth", "organism", "organism_pus", "not_assessed"],
                            )
                        ),
                        name="toefinding_swab_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("antibiotic__in", ["none", "ours", "gp", "other", "not_assessed"])),
                        name="toefinding_antibiotic_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            (
                                "diagnosis__in",
                                ["none", "superficial", "deep", "cellulitis", "osteomyelitis", "not_assessed"],
                            )
                        ),
                        name="toefinding_diagnosis_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("pain_state__in", ["scored", "not_asked"])),
                        name="toefinding_pain_state_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("pain__gte", 0), ("pain__lte", 10)), ("pain__isnull", True), _connector="OR"
                        ),
                        name="toefinding_pain_range",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("pain__isnull", False), ("pain_state", "scored")),
                            models.Q(("pain__isnull", True), ("pain_state", "not_asked")),
                            _connector="OR",
                        ),
                        name="toefinding_pain_goes_with_its_state",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("untreated_side__in", ["none", "ingrowth", "not_assessed", "not_applicable"])
                        ),
                        name="toefinding_untreated_side_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            (
                                "satisfaction__in",
                                [
                                    "very_satisfied",
                                    "satisfied",
                                    "neither",
                                    "dissatisfied",
                                    "very_dissatisfied",
                                    "not_asked",
                                ],
                            )
                        ),
                        name="toefinding_satisfaction_known",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="TreatedSide",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                (
                    "key",
                    models.CharField(
                        default=clinic.access.models.random_key, editable=False, max_length=12, unique=True
                    ),
                ),
                ("version", models.PositiveIntegerField(default=1, editable=False)),
                ("side", models.CharField(choices=clinic.vocabulary.procedure.NailSide.choices, max_length=10)),
                (
                    "stated_exposure_seconds",
                    models.PositiveIntegerField(
                        blank=True, help_text="Only the total is known, not the single applications.", null=True
                    ),
                ),
                (
                    "nail_procedure",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="treated_sides",
                        to="clinic.nailprocedure",
                    ),
                ),
                (
                    "revises",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="revised_by",
                        to="clinic.treatedside",
                    ),
                ),
            ],
            options={
                "constraints": [
                    models.UniqueConstraint(fields=("nail_procedure", "side"), name="side_once_per_nail"),
                    models.CheckConstraint(
                        condition=models.Q(("side__in", ["tibial", "fibular", "whole"])), name="treated_side_known"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("stated_exposure_seconds__gte", 1), ("stated_exposure_seconds__lte", 3600)),
                            ("stated_exposure_seconds__isnull", True),
                            _connector="OR",
                        ),
                        name="treated_stated_exposure_seconds_range",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="SideFinding",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                (
                    "key",
                    models.CharField(
                        default=clinic.access.models.random_key, editable=False, max_length=12, unique=True
                    ),
                ),
                ("version", models.PositiveIntegerField(default=1, editable=False)),
                ("extent", models.CharField(choices=clinic.vocabulary.review.Extent.choices, max_length=15)),
                ("symptoms", models.CharField(choices=clinic.vocabulary.review.Symptoms.choices, max_length=15)),
                ("retreatment", models.CharField(choices=clinic.vocabulary.review.Retreatment.choices, max_length=15)),
                (
                    "review",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="side_findings", to="clinic.review"
                    ),
                ),
                (
                    "treated_side",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="findings", to="clinic.treatedside"
                    ),
                ),
            ],
            options={
                "constraints": [
                    models.UniqueConstraint(fields=("review", "treated_side"), name="side_once_per_review"),
                    models.CheckConstraint(
                        condition=models.Q(
                            (
                                "extent__in",
                                ["none", "spicule", "strip", "full", "cannot_tell", "not_assessed", "not_applicable"],
                            )
                        ),
                        name="sidefinding_extent_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("symptoms__in", ["none", "pain", "ingrowth", "infected", "cannot_tell", "not_assessed"])
                        ),
                        name="sidefinding_symptoms_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("retreatment__in", ["none", "clipped", "planned", "done", "elsewhere", "not_assessed"])
                        ),
                        name="sidefinding_retreatment_known",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="Mark",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                (
                    "key",
                    models.CharField(
                        default=clinic.access.models.random_key, editable=False, max_length=12, unique=True
                    ),
                ),
                ("version", models.PositiveIntegerField(default=1, editable=False)),
                ("kind", models.CharField(choices=clinic.vocabulary.theatre.MarkKind.choices, max_length=20)),
                (
                    "number",
                    models.PositiveSmallIntegerField(blank=True, help_text="Of an application at its side.", null=True),
                ),
                ("at", models.DateTimeField()),
                ("received_at", models.DateTimeField()),
                ("tap", models.CharField(max_length=40, unique=True)),
                ("taken_back_at", models.DateTimeField(blank=True, null=True)),
                (
                    "by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
                (
                    "nail_procedure",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="marks",
                        to="clinic.nailprocedure",
                    ),
                ),
                (
                    "operation",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="marks", to="clinic.operation"
                    ),
                ),
                (
                    "treated_side",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="marks",
                        to="clinic.treatedside",
                    ),
                ),
            ],
            options={
                "ordering": ("at", "pk"),
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(
                            (
                                "kind__in",
                                [
                                    "injected",
                                    "tested",
                                    "tourniquet_on",
                                    "tourniquet_off",
                                    "application_start",
                                    "application_stop",
                                ],
                            )
                        ),
                        name="mark_kind_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("number__gte", 1), ("number__lte", 20)), ("number__isnull", True), _connector="OR"
                        ),
                        name="mark_number_range",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="HistoricalTreatedSide",
            fields=[
                ("id", models.BigIntegerField(auto_created=True, blank=True, db_index=True, verbose_name="ID")),
                (
                    "key",
                    models.CharField(
                        db_index=True, default=clinic.access.models.random_key, editable=False, max_length=12
                    ),
                ),
                ("version", models.PositiveIntegerField(default=1, editable=False)),
                ("side", models.CharField(choices=clinic.vocabulary.procedure.NailSide.choices, max_length=10)),
                (
                    "stated_exposure_seconds",
                    models.PositiveIntegerField(
                        blank=True, help_text="Only the total is known, not the single applications.", null=True
                    ),
                ),
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
                    "nail_procedure",
                    models.ForeignKey(
                        blank=True,
                        db_constraint=False,
                        null=True,
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="+",
                        to="clinic.nailprocedure",
                    ),
                ),
                (
                    "revises",
                    models.ForeignKey(
                        blank=True,
                        db_constraint=False,
                        null=True,
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="+",
                        to="clinic.treatedside",
                    ),
                ),
            ],
            options={
                "verbose_name": "historical treated side",
                "verbose_name_plural": "historical treated sides",
                "ordering": ("-history_date", "-history_id"),
                "get_latest_by": ("history_date", "history_id"),
            },
            bases=(simple_history.models.HistoricalChanges, models.Model),
        ),
        migrations.CreateModel(
            name="HistoricalSideFinding",
            fields=[
                ("id", models.BigIntegerField(auto_created=True, blank=True, db_index=True, verbose_name="ID")),
                (
                    "key",
                    models.CharField(
                        db_index=True, default=clinic.access.models.random_key, editable=False, max_length=12
                    ),
                ),
                ("version", models.PositiveIntegerField(default=1, editable=False)),
                ("extent", models.CharField(choices=clinic.vocabulary.review.Extent.choices, max_length=15)),
                ("symptoms", models.CharField(choices=clinic.vocabulary.review.Symptoms.choices, max_length=15)),
                ("retreatment", models.CharField(choices=clinic.vocabulary.review.Retreatment.choices, max_length=15)),
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
                    "review",
                    models.ForeignKey(
                        blank=True,
                        db_constraint=False,
                        null=True,
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="+",
                        to="clinic.review",
                    ),
                ),
                (
                    "treated_side",
                    models.ForeignKey(
                        blank=True,
                        db_constraint=False,
                        null=True,
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="+",
                        to="clinic.treatedside",
                    ),
                ),
            ],
            options={
                "verbose_name": "historical side finding",
                "verbose_name_plural": "historical side findings",
                "ordering": ("-history_date", "-history_id"),
                "get_latest_by": ("history_date", "history_id"),
            },
            bases=(simple_history.models.HistoricalChanges, models.Model),
        ),
        migrations.CreateModel(
            name="HistoricalMark",
            fields=[
                ("id", models.BigIntegerField(auto_created=True, blank=True, db_index=True, verbose_name="ID")),
                (
                    "key",
                    models.CharField(
                        db_index=True, default=clinic.access.models.random_key, editable=False, max_length=12
                    ),
                ),
                ("version", models.PositiveIntegerField(default=1, editable=False)),
                ("kind", models.CharField(choices=clinic.vocabulary.theatre.MarkKind.choices, max_length=20)),
                (
                    "number",
                    models.PositiveSmallIntegerField(blank=True, help_text="Of an application at its side.", null=True),
                ),
                ("at", models.DateTimeField()),
                ("received_at", models.DateTimeField()),
                ("tap", models.CharField(db_index=True, max_length=40)),
                ("taken_back_at", models.DateTimeField(blank=True, null=True)),
                ("history_id", models.AutoField(primary_key=True, serialize=False)),
                ("history_date", models.DateTimeField(db_index=True)),
                ("history_change_reason", models.TextField(null=True)),
                (
                    "history_type",
                    models.CharField(choices=[("+", "Created"), ("~", "Changed"), ("-", "Deleted")], max_length=1),
                ),
                (
                    "by",
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
                    "history_user",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.SET_NULL,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "nail_procedure",
                    models.ForeignKey(
                        blank=True,
                        db_constraint=False,
                        null=True,
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="+",
                        to="clinic.nailprocedure",
                    ),
                ),
                (
                    "operation",
                    models.ForeignKey(
                        blank=True,
                        db_constraint=False,
                        null=True,
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="+",
                        to="clinic.operation",
                    ),
                ),
                (
                    "treated_side",
                    models.ForeignKey(
                        blank=True,
                        db_constraint=False,
                        null=True,
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="+",
                        to="clinic.treatedside",
                    ),
                ),
            ],
            options={
                "verbose_name": "historical mark",
                "verbose_name_plural": "historical marks",
                "ordering": ("-history_date", "-history_id"),
                "get_latest_by": ("history_date", "history_id"),
            },
            bases=(simple_history.models.HistoricalChanges, models.Model),
        ),
        migrations.CreateModel(
            name="HistoricalApplication",
            fields=[
                ("id", models.BigIntegerField(auto_created=True, blank=True, db_index=True, verbose_name="ID")),
                ("number", models.PositiveSmallIntegerField()),
                ("seconds", models.PositiveSmallIntegerField()),
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
                    "treated_side",
                    models.ForeignKey(
                        blank=True,
                        db_constraint=False,
                        null=True,
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="+",
                        to="clinic.treatedside",
                    ),
                ),
            ],
            options={
                "verbose_name": "historical application",
                "verbose_name_plural": "historical applications",
                "ordering": ("-history_date", "-history_id"),
                "get_latest_by": ("history_date", "history_id"),
            },
            bases=(simple_history.models.HistoricalChanges, models.Model),
        ),
        migrations.CreateModel(
            name="Application",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("number", models.PositiveSmallIntegerField()),
                ("seconds", models.PositiveSmallIntegerField()),
                (
                    "treated_side",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="applications",
                        to="clinic.treatedside",
                    ),
                ),
            ],
            options={
                "ordering": ("number",),
                "constraints": [
                    models.UniqueConstraint(fields=("treated_side", "number"), name="application_number_once"),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("number__gte", 1), ("number__lte", 20)), ("number__isnull", True), _connector="OR"
                        ),
                        name="application_number_range",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("seconds__gte", 1), ("seconds__lte", 600)),
                            ("seconds__isnull", True),
                            _connector="OR",
                        ),
                        name="application_seconds_range",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="UploadTry",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("at", models.DateTimeField(db_index=True)),
                ("member", models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, to=settings.AUTH_USER_MODEL)),
            ],
        ),
        migrations.CreateModel(
            name="AssessedToe",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("foot", models.CharField(choices=clinic.vocabulary.procedure.Foot.choices, max_length=5)),
                ("toe", models.PositiveSmallIntegerField()),
                (
                    "infection",
                    models.CharField(
                        choices=clinic.vocabulary.procedure.LocalInfection.choices,
                        default=clinic.vocabulary.procedure.Answer["NOT_RECORDED"],
                        max_length=20,
                    ),
                ),
                (
                    "bone_infection",
                    models.CharField(
                        choices=clinic.vocabulary.procedure.Answer.choices,
                        default=clinic.vocabulary.procedure.Answer["NOT_RECORDED"],
                        max_length=20,
                    ),
                ),
                (
                    "prior_surgery",
                    models.CharField(
                        choices=clinic.vocabulary.preparation.PriorSurgery.choices,
                        default=clinic.vocabulary.procedure.Answer["NOT_RECORDED"],
                        max_length=20,
                    ),
                ),
                (
                    "prior_part",
                    models.CharField(
                        blank=True, choices=clinic.vocabulary.sites.NailPart.choices, default="", max_length=10
                    ),
                ),
                ("prior_year", models.PositiveSmallIntegerField(blank=True, null=True)),
                (
                    "prior_elsewhere",
                    models.CharField(
                        choices=clinic.vocabulary.procedure.Answer.choices,
                        default=clinic.vocabulary.procedure.Answer["NOT_RECORDED"],
                        max_length=20,
                    ),
                ),
                (
                    "assessment",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="toes", to="clinic.assessment"
                    ),
                ),
            ],
            options={
                "ordering": ("pk",),
                "constraints": [
                    models.UniqueConstraint(fields=("assessment", "foot", "toe"), name="toe_once_per_assessment"),
                    models.CheckConstraint(
                        condition=models.Q(("foot__in", ["right", "left"])), name="assessedtoe_foot_known"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("toe__gte", 1), ("toe__lte", 5)), ("toe__isnull", True), _connector="OR"
                        ),
                        name="assessedtoe_toe_range",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            (
                                "infection__in",
                                ["none", "inflamed", "purulent", "spreading", "not_assessed", "not_recorded"],
                            )
                        ),
                        name="assessedtoe_infection_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("bone_infection__in", ["yes", "no", "not_assessed", "not_applicable", "not_recorded"])
                        ),
                        name="assessedtoe_bone_infection_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            (
                                "prior_surgery__in",
                                [
                                    "none",
                                    "conservative",
                                    "avulsion",
                                    "chemical",
                                    "excisional",
                                    "not_assessed",
                                    "not_recorded",
                                ],
                            )
                        ),
                        name="assessedtoe_prior_surgery_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("prior_part__in", ["", "tibial", "fibular", "both", "whole"])),
                        name="assessedtoe_prior_part_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("prior_year__gte", 1900), ("prior_year__lte", 2200)),
                            ("prior_year__isnull", True),
                            _connector="OR",
                        ),
                        name="assessedtoe_prior_year_range",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("prior_elsewhere__in", ["yes", "no", "not_assessed", "not_applicable", "not_recorded"])
                        ),
                        name="assessedtoe_prior_elsewhere_known",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="AssessmentItem",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("topic", models.CharField(choices=clinic.vocabulary.preparation.Topic.choices, max_length=20)),
                ("code", models.CharField(max_length=20)),
                (
                    "answer",
                    models.CharField(
                        choices=clinic.vocabulary.procedure.Answer.choices,
                        default=clinic.vocabulary.procedure.Answer["NOT_RECORDED"],
                        max_length=20,
                    ),
                ),
                (
                    "reaction",
                    models.CharField(
                        blank=True, choices=clinic.vocabulary.preparation.Reaction.choices, default="", max_length=20
                    ),
                ),
                (
                    "assessment",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="items", to="clinic.assessment"
                    ),
                ),
            ],
            options={
                "ordering": ("pk",),
                "constraints": [
                    models.UniqueConstraint(fields=("assessment", "topic", "code"), name="item_once_per_assessment"),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(
                                (
                                    "code__in",
                                    [
                                        "onychocryptosis",
                                        "paronychia",
                                        "involuted",
                                        "onychogryphosis",
                                        "hypertrophy",
                                        "onychophosis",
                                        "traumatic",
                                        "recurrence",
                                        "other",
                                    ],
                                ),
                                ("topic", "indication"),
                            ),
                            models.Q(
                                ("code__in", ["cutting", "taping", "bracing", "antibiotics", "other"]),
                                ("topic", "conservative"),
                            ),
                            models.Q(
                                (
                                    "code__in",
                                    ["exostosis", "pyogenic_granuloma", "malignancy", "glomus", "osteomyelitis"],
                                ),
                                ("topic", "look_alike"),
                            ),
                            models.Q(
                                ("code__in", ["antiplatelet", "warfarin", "doac", "heparin"]),
                                ("topic", "antithrombotic"),
                            ),
                            models.Q(
                                (
                                    "code__in",
                                    [
                                        "cardiac",
                                        "epilepsy",
                                        "liver",
                                        "renal",
                                        "myasthenia",
                                        "porphyria",
                                        "methaemoglobinaemia",
                                        "raynaud",
                                        "vasospasm",
                                        "sickle_cell",
                                        "buerger",
                                        "crps",
                                        "prosthetic_joint",
                                        "heart_valve",
                                    ],
                                ),
                                ("topic", "condition"),
                            ),
                            models.Q(
                                (
                                    "code__in",
                                    [
                                        "amide",
                                        "ester",
                                        "phenol",
                                        "iodine",
                                        "chlorhexidine",
                                        "latex",
                                        "dressing",
                                        "antibiotic",
                                    ],
                                ),
                                ("topic", "allergy"),
                            ),
                            _connector="OR",
                        ),
                        name="assessmentitem_code_of_topic",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("answer__in", ["yes", "no", "not_assessed", "not_applicable", "not_recorded"])
                        ),
                        name="assessmentitem_answer_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("reaction", ""),
                            models.Q(
                                ("answer", "yes"),
                                ("reaction__in", ["severe", "swelling", "rash", "contact", "side_effect", "unknown"]),
                                ("topic", "allergy"),
                            ),
                            _connector="OR",
                        ),
                        name="assessmentitem_reaction_of_an_allergy",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="CheckedItem",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("code", models.CharField(max_length=20)),
                ("wording", models.CharField(max_length=200)),
                ("answer", models.CharField(choices=clinic.vocabulary.theatre.CheckAnswer.choices, max_length=15)),
                (
                    "phase",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="items", to="clinic.checklistphase"
                    ),
                ),
            ],
            options={
                "constraints": [
                    models.UniqueConstraint(fields=("phase", "code"), name="item_once_per_phase"),
                    models.CheckConstraint(
                        condition=models.Q(("answer__in", ["yes", "no", "not_applicable"])),
                        name="checkeditem_answer_known",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="ConsentElement",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("code", models.CharField(choices=clinic.vocabulary.preparation.ConsentPoint.choices, max_length=20)),
                (
                    "consent",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="elements", to="clinic.consent"
                    ),
                ),
            ],
            options={
                "ordering": ("pk",),
                "constraints": [
                    models.UniqueConstraint(fields=("consent", "code"), name="element_once_per_consent"),
                    models.CheckConstraint(
                        condition=models.Q(
                            (
                                "code__in",
                                [
                                    "diagnosis",
                                    "procedure",
                                    "site",
                                    "intent",
                                    "alternatives",
                                    "no_treatment",
                                    "benefits",
                                    "pain",
                                    "bleeding",
                                    "infection",
                                    "slow_healing",
                                    "regrowth",
                                    "skin_burn",
                                    "appearance",
                                    "numbness",
                                    "anaesthetic",
                                    "allergy",
                                    "further_surgery",
                                    "rare",
                                    "afterwards",
                                    "audit",
                                    "withdrawal",
                                    "capacity",
                                ],
                            )
                        ),
                        name="consentelement_code_known",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="Draft",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("form", models.CharField(max_length=20)),
                ("subject_key", models.CharField(max_length=12)),
                ("answers", models.JSONField(default=dict)),
                ("kept_at", models.DateTimeField(auto_now=True)),
                ("member", models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, to=settings.AUTH_USER_MODEL)),
            ],
            options={
                "constraints": [
                    models.UniqueConstraint(fields=("member", "form", "subject_key"), name="one_draft_per_form")
                ],
            },
        ),
        migrations.CreateModel(
            name="FlagDecision",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("code", models.CharField(max_length=40)),
                ("level", models.CharField(choices=clinic.vocabulary.preparation.FlagLevel.choices, max_length=10)),
                ("fact", models.CharField(max_length=300)),
                (
                    "outcome",
                    models.CharField(choices=clinic.vocabulary.preparation.DecisionOutcome.choices, max_length=20),
                ),
                ("text", models.CharField(max_length=500)),
                ("decided_at", models.DateTimeField()),
                (
                    "assessment",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="decisions", to="clinic.assessment"
                    ),
                ),
                (
                    "decided_by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
            ],
            options={
                "ordering": ("decided_at", "pk"),
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("level", "caution"), ("outcome", "acknowledged")),
                            models.Q(
                                ("level", "stop"),
                                ("outcome__in", ["acknowledged", "proceed", "changed", "postpone", "not_here"]),
                                models.Q(("outcome", "acknowledged"), _negated=True),
                            ),
                            _connector="OR",
                        ),
                        name="decision_fits_the_level",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("text", ""), _negated=True), models.Q(("fact", ""), _negated=True)
                        ),
                        name="decision_says_why",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="FootFinding",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("foot", models.CharField(choices=clinic.vocabulary.procedure.Foot.choices, max_length=5)),
                (
                    "dorsalis_pedis",
                    models.CharField(
                        choices=clinic.vocabulary.preparation.Pulse.choices,
                        default=clinic.vocabulary.procedure.Answer["NOT_RECORDED"],
                        max_length=20,
                    ),
                ),
                (
                    "posterior_tibial",
                    models.CharField(
                        choices=clinic.vocabulary.preparation.Pulse.choices,
                        default=clinic.vocabulary.procedure.Answer["NOT_RECORDED"],
                        max_length=20,
                    ),
                ),
                (
                    "doppler",
                    models.CharField(
                        choices=clinic.vocabulary.preparation.Doppler.choices,
                        default=clinic.vocabulary.procedure.Answer["NOT_RECORDED"],
                        max_length=20,
                    ),
                ),
                ("abpi", models.DecimalField(blank=True, decimal_places=2, max_digits=3, null=True)),
                ("toe_pressure", models.PositiveSmallIntegerField(blank=True, help_text="mmHg, systolic", null=True)),
                ("tbi", models.DecimalField(blank=True, decimal_places=2, max_digits=3, null=True)),
                ("ankle_pressure", models.PositiveSmallIntegerField(blank=True, help_text="mmHg, systolic", null=True)),
                ("measured_on", models.DateField(blank=True, help_text="Of ratios and pressures.", null=True)),
                (
                    "monofilament_sites",
                    models.PositiveSmallIntegerField(blank=True, help_text="Sites of 10 that were felt", null=True),
                ),
                (
                    "assessment",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="feet", to="clinic.assessment"
                    ),
                ),
            ],
            options={
                "ordering": ("-foot",),
                "constraints": [
                    models.UniqueConstraint(fields=("assessment", "foot"), name="foot_once_per_assessment"),
                    models.CheckConstraint(
                        condition=models.Q(("foot__in", ["right", "left"])), name="footfinding_foot_known"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("dorsalis_pedis__in", ["palpable", "not_palpable", "not_examined", "not_recorded"])
                        ),
                        name="footfinding_dorsalis_pedis_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("posterior_tibial__in", ["palpable", "not_palpable", "not_examined", "not_recorded"])
                        ),
                        name="footfinding_posterior_tibial_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            (
                                "doppler__in",
                                ["triphasic", "biphasic", "monophasic", "no_signal", "not_examined", "not_recorded"],
                            )
                        ),
                        name="footfinding_doppler_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("abpi__gte", 0), ("abpi__lte", 2)), ("abpi__isnull", True), _connector="OR"
                        ),
                        name="footfinding_abpi_range",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("toe_pressure__gte", 0), ("toe_pressure__lte", 250)),
                            ("toe_pressure__isnull", True),
                            _connector="OR",
                        ),
                        name="footfinding_toe_pressure_range",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("tbi__gte", 0), ("tbi__lte", 1.5)), ("tbi__isnull", True), _connector="OR"
                        ),
                        name="footfinding_tbi_range",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("ankle_pressure__gte", 0), ("ankle_pressure__lte", 300)),
                            ("ankle_pressure__isnull", True),
                            _connector="OR",
                        ),
                        name="footfinding_ankle_pressure_range",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("monofilament_sites__gte", 0), ("monofilament_sites__lte", 10)),
                            ("monofilament_sites__isnull", True),
                            _connector="OR",
                        ),
                        name="footfinding_monofilament_sites_range",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("measured_on__isnull", True),
                            ("abpi__isnull", False),
                            ("toe_pressure__isnull", False),
                            ("tbi__isnull", False),
                            ("ankle_pressure__isnull", False),
                            _connector="OR",
                        ),
                        name="footfinding_measured_something",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="NameDigest",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("digest", models.CharField(db_index=True, max_length=32)),
                (
                    "identity",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE, related_name="digests", to="clinic.identity"
                    ),
                ),
            ],
            options={
                "constraints": [models.UniqueConstraint(fields=("identity", "digest"), name="name_digest_once")],
            },
        ),
        migrations.AddConstraint(
            model_name="checklistphase",
            constraint=models.UniqueConstraint(fields=("operation", "phase"), name="phase_once_per_operation"),
        ),
        migrations.AddConstraint(
            model_name="operationtemplate",
            constraint=models.UniqueConstraint(
                models.F("practice"), django.db.models.functions.text.Lower("name"), name="template_name_once"
            ),
        ),
        migrations.AddIndex(
            model_name="operation",
            index=models.Index(fields=["practice", "performed_on"], name="clinic_oper_practic_15a999_idx"),
        ),
    ]
