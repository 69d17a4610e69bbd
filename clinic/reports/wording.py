"""What patients read, in plain words. A test measures how old a reader has to be."""

from datetime import date

from clinic.vocabulary.procedure import Foot, NailSide
from clinic.vocabulary.recall import ReportFlag

LONG_MONTHS = (
    "January February March April May June July August September October November December".split()
)  # strftime would follow the machine's language
TOES = {1: "big toe", 2: "second toe", 3: "third toe", 4: "fourth toe", 5: "little toe"}

TITLE_ONE, TITLE_SEVERAL = "How is your toe?", "How are your toes?"
WARNING = (
    "Is the toe hot, very red or badly swollen? Are there red lines on your skin? Is the toe black, blue or numb? "
    "Do you feel hot and shaky?"
)
SIGNS = {
    ReportFlag.SIGN_RED: "The toe is hot, very red or badly swollen",
    ReportFlag.SIGN_LINES: "There are red lines on my skin",
    ReportFlag.SIGN_DARK: "The toe is black, blue or numb",
    ReportFlag.SIGN_SHAKY: "I feel hot and shaky",
}
ANY_SIGN, ANY_SIGN_HINT = "Do you have any of these?", "Tick all that you have. If you have none, go on."
WARNING_CALL = "Do not wait for us to read this. Call us now:"
WARNING_NO_PHONE = "Do not wait for us to read this. Call the practice now."
INTRO = "This takes about one minute. Someone who treats feet will read it."
PAIN, PAIN_HINT = "How much does it hurt today?", "0 is no pain, 10 is the worst pain"
FLUID = "Is there any fluid on the toe?"
NAIL = "Can you see new nail where we took it away?"
SORE = "Is it sore there, or does it catch on things?"
CALL = "Shall we call you?"
NOTE, NOTE_HINT = "Is there more you want to tell us?", "At most 300 letters. Please do not write your name."
PICTURE, PICTURE_HINT = "A photo of the toe", "Only the toe. We take out the place and the time before we keep it."
PICTURE_CONSENT = "You may keep this photo in my notes"
SEND = "Send to the practice"
CALL_NOW, CALL_NOW_NO_PHONE = "Do not wait for us. Call us now:", "Do not wait for us. Call the practice now."
NOTE_WAITS = "We may not read your note today. If it cannot wait, call us."
THANKS = "Thank you. The practice has your answers. If it gets worse, call us."
GONE = "This link does not work any more. Call the practice if you need a new one, or if your toe hurts."
UNKNOWN = "We do not know this link. Check that you typed all of it. If your toe hurts, call the practice."
TOO_MANY = "This did not work too many times. Wait a few minutes and try again. If your toe hurts, call the practice."


def toe_in_words(foot: str, toe: int) -> str:
    """'right big toe'."""
    return f"{Foot(foot).value} {TOES[toe]}"


def side_in_words(toe: int, side: str) -> str:
    """Which edge of the nail, by what lies beside it; never left or right."""
    if side == NailSide.TIBIAL:
        return "the side by the other foot" if toe == 1 else "the side by the big toe"
    if toe == 1:
        return "the side by the next toe"
    return "the outer side" if toe == 5 else "the side by the little toe"


def long_day(day: date) -> str:
    """'13 October 2025'."""
    return f"{day.day} {LONG_MONTHS[day.month - 1]} {day.year}"
