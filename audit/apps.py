from django.apps import AppConfig
from django.db.models.signals import post_migrate, pre_migrate


class AuditConfig(AppConfig):
    name = "audit"
    default_auto_field = "django.db.models.BigAutoField"
    verbose_name = "Audit"

    def ready(self) -> None:
        from audit import sealing

        pre_migrate.connect(sealing.lift, sender=self, dispatch_uid="signed_audits_lifted")
        post_migrate.connect(sealing.install, sender=self, dispatch_uid="signed_audits")
