from django.apps import AppConfig


class ClinicConfig(AppConfig):
    name = "clinic"
    default_auto_field = "django.db.models.BigAutoField"
    verbose_name = "Clinical record"

    def ready(self) -> None:
        from clinic.access import checks, signing_in  # noqa: F401 - importing registers them
