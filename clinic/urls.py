"""The whole site map on one page."""

from django.urls import include, path

from clinic.access import views as access
from clinic.reviews import views as reviews
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
    path("settings/", access.practice_settings, name="practice-settings"),
    # patients
    # procedures
    # reviews
    path("toes/<slug:key>/", reviews.toe, name="toe"),
    path("operations/<slug:key>/review/", reviews.record, name="review-record"),
    path("reviews/<slug:key>/", reviews.read, name="review"),
    path("reviews/<slug:key>/correct/", reviews.correct, name="review-correct"),
    path("reviews/<slug:key>/undo/", reviews.undo, name="review-undo"),
    path("reviews/<slug:key>/strike/", reviews.strike, name="review-strike"),
    path("reviews/<slug:key>/accept/", reviews.accept, name="review-accept"),
    path("draft/<slug:form>/<slug:subject>/", reviews.keep, name="draft"),
    # worklist
    path("today/", worklist.today, name="today"),
    path("operations/<slug:key>/book/", worklist.book, name="book"),
    path("operations/<slug:key>/contact/", worklist.contact, name="contact"),
    path("contacts/<slug:key>/dealt-with/", worklist.contact_dealt_with, name="contact-dealt-with"),
    # audit
    path("audit/", include("audit.urls")),
    path("shared-results/", access.pooled, name="pooled"),
    # health
    path("healthz", access.healthz, name="healthz"),
    path("readyz", access.readyz, name="readyz"),
]
