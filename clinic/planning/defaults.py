"""What a practice starts with. Each value is common practice without a source, and a setting."""

from typing import Any

TRIES = 3
CLOSE_AFTER_DAYS = 60
LINK_DAYS = 14
MOST_STEPS = 8
WAYS = {"message": "E-mail, else letter", "phone": "Phone", "letter": "Letter"}


def first_ladder() -> list[dict[str, Any]]:
    """Invitation before the target day, two calls at different hours, a message with the patient's link, a letter."""
    return [
        {"after_days": -14, "way": "message", "with_link": False},
        {"after_days": 0, "way": "phone", "with_link": False},
        {"after_days": 7, "way": "phone", "with_link": False},
        {"after_days": 14, "way": "message", "with_link": True},
        {"after_days": 28, "way": "letter", "with_link": True},
    ]
