"""Addresses of the exchange: exports out, peer groups, sets in, the pooled comparison, topics."""

from django.urls import path

from audit.views.exchange import comparison, exports, groups, home, sets, topics

urlpatterns = [
    path("", home.exchange, name="exchange"),
    path("export/<slug:key>/", exports.export_new, name="export-new"),
    path("exports/<slug:key>/", exports.export, name="export"),
    path("exports/<slug:key>/file/", exports.export_file, name="export-file"),
    path("exports/<slug:key>/tables/", exports.export_tables, name="export-tables"),
    path("exports/<slug:key>/withdraw/", exports.export_withdraw, name="export-withdraw"),
    path("groups/new/", groups.group_new, name="group-new"),
    path("groups/join/", groups.group_join, name="group-join"),
    path("groups/<slug:key>/", groups.group, name="group"),
    path("groups/<slug:key>/invite/", groups.group_invite, name="group-invite"),
    path("groups/<slug:key>/close/", groups.group_close, name="group-close"),
    path("groups/<slug:key>/leave/", groups.group_leave, name="group-leave"),
    path("groups/<slug:key>/hand-in/", sets.hand_in, name="hand-in"),
    path("groups/<slug:key>/compare/", comparison.compare, name="compare"),
    path("groups/<slug:key>/chart/<slug:slug>.<slug:form>", comparison.chart, name="compare-chart"),
    path("groups/<slug:key>/report/", comparison.report, name="compare-report"),
    path("groups/<slug:key>/topics/new/", topics.topic_new, name="topic-new"),
    path("sets/<slug:key>/original/", sets.original, name="set-original"),
    path("sets/<slug:key>/withdraw/", sets.set_withdraw, name="set-withdraw"),
    path("topics/<slug:key>/", topics.topic, name="topic"),
]
