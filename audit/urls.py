"""Addresses of the audit: a question in the address, the yearly audit in six steps, and looking in between."""

from django.urls import path

from audit.views import agreed, checked, outlook, process, results, signed, watching, workspace

urlpatterns = [
    # any question; every one of these takes it as its query
    path("", results.results, name="audit"),
    path("course/", results.course, name="audit-course"),
    path("chart/<slug:slug>.<slug:form>", results.chart, name="audit-chart"),
    path("records/", results.behind, name="audit-records"),
    path("process/", process.process_page, name="audit-process"),
    path("outlook/", outlook.outlook_page, name="audit-outlook"),
    path("checked/", checked.checked, name="audit-checks"),
    path("checked/<slug:family>/", checked.checked_family, name="audit-checks-family"),
    path("figures.json", results.as_json, name="audit-json"),
    # the yearly audit
    path("years/", workspace.years, name="audit-years"),
    path("<int:year>/", workspace.period, name="audit-period"),
    path("<int:year>/quality/", workspace.quality, name="audit-quality"),
    path("<int:year>/results/", workspace.year_results, name="audit-year-results"),
    path("<int:year>/course/", workspace.year_course, name="audit-year-course"),
    path("<int:year>/standard/", agreed.standard, name="audit-standard"),
    path("<int:year>/standard/<slug:code>/", agreed.standard_edit, name="audit-standard-edit"),
    path("<int:year>/actions/", agreed.actions, name="audit-actions"),
    path("<int:year>/actions/none/", agreed.no_action, name="audit-no-action"),
    path("actions/<slug:key>/", agreed.action, name="audit-action"),
    path("<int:year>/sign-off/", signed.sign, name="audit-sign"),
    path("<int:year>/sign-off/open-again/", signed.reopen, name="audit-reopen"),
    path("<int:year>/report/", signed.report, name="audit-report"),
    path("<int:year>/report.pdf", signed.report_pdf, name="audit-report-pdf"),
    path("<int:year>/snapshot.json", signed.snapshot, name="audit-snapshot"),
    path("<int:year>/changes/", signed.changes, name="audit-changes"),
    # in between
    path("monitoring/", watching.monitoring, name="audit-monitoring"),
    path("monitoring/chart/<slug:slug>.<slug:form>", watching.monitoring_chart, name="audit-monitoring-chart"),
    path("monitoring/note/", watching.change_note, name="audit-change-note"),
]
