from django.apps import AppConfig
from django.db.models.signals import post_migrate, pre_migrate


class ClinicConfig(AppConfig):
    name = "clinic"
    default_auto_field = "django.db.models.BigAutoField"
    verbose_name = "Clinical record"

    def ready(self) -> None:
        from clinic.access import checks, signing_in  # noqa: F401 - importing registers them
        from clinic.procedures import guard

        pre_migrate.connect(guard.lift, sender=self, dispatch_uid="signed_records_lifted")
        post_migrate.connect(guard.install, sender=self, dispatch_uid="signed_records")
