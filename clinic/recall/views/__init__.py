"""Pages of following up, as the site map names them."""

from clinic.recall.views.calendar_pages import calendar, calendar_feed
from clinic.recall.views.letter_pages import letters
from clinic.recall.views.listing import close, contact_undo, open_again, recall, recall_csv

__all__ = ["calendar", "calendar_feed", "close", "contact_undo", "letters", "open_again", "recall", "recall_csv"]
