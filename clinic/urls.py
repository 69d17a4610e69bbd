"""The whole site map on one page."""

from django.urls import include, path

from clinic.access import views as access
from clinic.dosing import views as dosing
from clinic.handover import views as handover
from clinic.merging import views as merging
from clinic.patients import views as patients
from clinic.photographs import views as photographs
from clinic.planning import views as planning
from clinic.practice import template_views as templates
from clinic.practice import views as practice
from clinic.preparation import views as preparation
from clinic.procedures import toe_views
from clinic.procedures import views as procedures
from clinic.recall import views as recall
from clinic.redflags import views as redflags
from clinic.reminders import views as reminders
from clinic.reports import views as reports
from clinic.reviews import views as reviews
from clinic.theatre import note_views
from clinic.theatre import views as theatre
from clinic.worklist import views as worklist

handler400 = "clinic.access.views.bad_request"
handler403 = "clinic.access.views.forbidden"
handler404 = "clinic.access.views.not_found"
handler500 = "clinic.access.views.server_error"

urlpatterns = [
    # signing in
    path("sign-in/", access.sign_in, name="sign-in"),
    path("sign-out/", access.sign_out, name="sign-out"),
    path("set-password/<slug:key>/<slug:token>/", access.set_password, name="set-password"),
    # one's own pages
    path("", access.home, name="home"),
    path("account/", access.account, name="account"),
    path("help/", access.help_page, name="help"),
    # people and settings
    path("people/", access.people, name="people"),
    path("people/add/", access.person_add, name="person-add"),
    path("people/<slug:key>/", access.person_change, name="person-change"),
    path("settings/", practice.overview, name="practice-settings"),
    path("settings/templates/", templates.templates, name="operation-templates"),
    path("settings/templates/new/", templates.template_new, name="operation-template-new"),
    path("settings/templates/<slug:key>/", templates.template_change, name="operation-template"),
    path("settings/limits/", dosing.limits, name="limits"),
    path("settings/limits/new/", dosing.limit_new, name="limit-new"),
    path("settings/limits/shipped/<slug:code>/", dosing.limit_candidate, name="limit-candidate"),
    path("settings/limits/<slug:key>/", dosing.limit, name="limit"),
    path("settings/limits/<slug:key>/change/", dosing.limit_change, name="limit-change"),
    path("settings/limits/<slug:key>/withdraw/", dosing.limit_withdraw, name="limit-withdraw"),
    path("settings/follow-up/", planning.follow_up, name="follow-up"),
    path("settings/follow-up/<slug:technique>/", planning.schedule, name="schedule"),
    path("settings/<slug:code>/", practice.topic, name="settings-topic"),
    # patients
    path("patients/", patients.patients, name="patients"),
    path("patients/find/", patients.find, name="find-patient"),
    path("patients/new/", patients.patient_new, name="patient-new"),
    path("patients/<slug:key>/", patients.patient, name="patient"),
    path("patients/<slug:key>/change/", patients.patient_change, name="patient-change"),
    path("patients/<slug:key>/merge/", merging.patient_merge, name="patient-merge"),
    path("patients/<slug:key>/hand-over/", handover.patient_fhir, name="patient-fhir"),
    # before an operation
    path("patients/<slug:key>/assessment/", preparation.assessment_new, name="assessment-new"),
    path("assessments/<slug:key>/", preparation.assessment, name="assessment"),
    path("assessments/<slug:key>/change/", preparation.assessment_change, name="assessment-change"),
    path("assessments/<slug:key>/decide/", preparation.flag_decide, name="flag-decide"),
    path("assessments/<slug:key>/strike/", preparation.assessment_strike, name="assessment-strike"),
    path("patients/<slug:key>/consent/", preparation.consent_new, name="consent-new"),
    path("consents/<slug:key>/", preparation.consent, name="consent"),
    path("consents/<slug:key>/confirm/", preparation.consent_confirm, name="consent-confirm"),
    path("consents/<slug:key>/withdraw/", preparation.consent_withdraw, name="consent-withdraw"),
    path("consents/<slug:key>/strike/", preparation.consent_strike, name="consent-strike"),
    # red flags
    path("operations/<slug:key>/flags/", redflags.red_flags, name="red-flags"),
    # procedures
    path("patients/<slug:key>/operation/", procedures.operation_new, name="operation-new"),
    path("operations/<slug:key>/", procedures.operation, name="operation"),
    path("operations/<slug:key>/correct/", procedures.operation_amend, name="operation-amend"),
    path("operations/<slug:key>/site/<slug:nail>/", toe_views.site_decide, name="site-decide"),
    path("operations/<slug:key>/undo/", procedures.operation_undo, name="operation-undo"),
    path("operations/<slug:key>/strike/", procedures.operation_strike, name="operation-strike"),
    path("toes/<slug:key>/amputated/", toe_views.toe_amputated, name="toe-amputated"),
    # in the room
    path("operations/<slug:key>/room/", theatre.room, name="room"),
    path("operations/<slug:key>/tap/", theatre.tap, name="tap"),
    path("times/<slug:key>/", theatre.mark, name="mark"),
    path("operations/<slug:key>/checklist/<slug:code>/", theatre.phase, name="checklist"),
    path("operations/<slug:key>/dose/", theatre.dose_add, name="dose-add"),
    path("operations/<slug:key>/event/", theatre.event_add, name="event-add"),
    path("operations/<slug:key>/end/", theatre.closing, name="closing"),
    path("operations/<slug:key>/sign/", note_views.signing, name="sign"),
    path("operations/<slug:key>/cosign/", note_views.cosigning, name="cosign"),
    path("operations/<slug:key>/note/", note_views.note, name="operation-note"),
    path("operations/<slug:key>/note.pdf", note_views.note_pdf, name="operation-note-pdf"),
    path("operations/<slug:key>/amendments/<int:number>/seen/", note_views.amendment_seen, name="amendment-seen"),
    # reviews
    path("toes/<slug:key>/", reviews.toe, name="toe"),
    path("operations/<slug:key>/review/", reviews.record, name="review-record"),
    path("reviews/<slug:key>/", reviews.read, name="review"),
    path("reviews/<slug:key>/correct/", reviews.correct, name="review-correct"),
    path("reviews/<slug:key>/undo/", reviews.undo, name="review-undo"),
    path("reviews/<slug:key>/strike/", reviews.strike, name="review-strike"),
    path("reviews/<slug:key>/accept/", reviews.accept, name="review-accept"),
    path("draft/<slug:form>/<slug:subject>/", reviews.keep, name="draft"),
    # photographs
    path("toes/<slug:key>/photograph/", photographs.photograph_add, name="photograph-add"),
    path("photographs/<slug:key>/", photographs.photograph, name="photograph"),
    path("photographs/<slug:key>/strike/", photographs.photograph_strike, name="photograph-strike"),
    path("photographs/<slug:key>/withdraw/", photographs.photograph_withdraw, name="photograph-withdraw"),
    path("photographs/<slug:key>/<slug:size>/", photographs.photograph_file, name="photograph-file"),
    # worklist
    path("today/", worklist.today, name="today"),
    path("operations/<slug:key>/book/", worklist.book, name="book"),
    path("bookings/<slug:key>/cancel/", worklist.booking_cancel, name="booking-cancel"),
    path("operations/<slug:key>/contact/", worklist.contact, name="contact"),
    path("contacts/<slug:key>/dealt-with/", worklist.contact_dealt_with, name="contact-dealt-with"),
    # the patient's own report
    path("r/<slug:token>/", reports.report, name="report"),
    path("operations/<slug:key>/link/", reports.report_link, name="report-link"),
    path("reviews/<slug:key>/answered/", reports.report_answered, name="report-answered"),
    # recall
    path("recall/", recall.recall, name="recall"),
    path("recall/letters/", recall.letters, name="letters"),
    path("recall/messages/", reminders.message_list, name="messages"),
    path("recall/messages/approve/", reminders.message_approve, name="message-approve"),
    path("recall/messages/<slug:key>/", reminders.message_decide, name="message-decide"),
    path("recall/calendar/", recall.calendar, name="calendar"),
    path("calendar/<slug:token>.ics", recall.calendar_feed, name="calendar-feed"),
    path("recall/list.csv", recall.recall_csv, name="recall-csv"),
    path("operations/<slug:key>/close/", recall.close, name="close"),
    path("closures/<slug:key>/open-again/", recall.open_again, name="open-again"),
    path("contacts/<slug:key>/undo/", recall.contact_undo, name="contact-undo"),
    # audit
    path("audit/", include("audit.urls")),
    path("exchange/own-data/", handover.own_data, name="own-data"),
    path("exchange/", include("audit.peer_urls")),
    # health
    path("healthz", access.healthz, name="healthz"),
    path("readyz", access.readyz, name="readyz"),
]
