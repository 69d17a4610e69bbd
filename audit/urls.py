"""Addresses of the audit. Every one takes the question as its query."""

from django.urls import path

from audit.views import checked, process, results

urlpatterns = [
    path("", results.results, name="audit"),
    path("course/", results.course, name="audit-course"),
    path("chart/<slug:slug>.<slug:form>", results.chart, name="audit-chart"),
    path("records/", results.behind, name="audit-records"),
    path("process/", process.process_page, name="audit-process"),
    path("checked/", checked.checked, name="audit-checks"),
    path("checked/<slug:family>/", checked.checked_family, name="audit-checks-family"),
    path("figures.json", results.as_json, name="audit-json"),
]
