"""Addresses of the audit. Every one takes the question as its query."""

from django.urls import path

from audit.views import checked, results

urlpatterns = [
    path("", results.results, name="audit"),
    path("chart/<slug:slug>.<slug:form>", results.chart, name="audit-chart"),
    path("records/", results.behind, name="audit-records"),
    path("checked/", checked.checked, name="audit-checks"),
    path("figures.json", results.as_json, name="audit-json"),
]
