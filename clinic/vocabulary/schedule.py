"""Words of the review schedule: which reviews there are, how they may be done, what each must answer."""

from clinic.vocabulary import sources as s
from clinic.vocabulary.terms import Term


class ReviewCode(Term):
    """The reviews that a schedule may hold, each at most once. A practice chooses their days and their names."""

    FIRST_REDRESS = "first_redress", "First redress", "The first change of the dressing", s.BOS_2007
    TWO_WEEKS = "two_weeks", "2-week review", "Healing in between", s.COMMON_PRACTICE
    FOUR_WEEKS = "four_weeks", "4-week review", "Healing in between", s.COMMON_PRACTICE
    SIX_WEEKS = "six_weeks", "6-week review", "Whether the toe has healed", s.COMMON_PRACTICE
    THREE_MONTHS = "three_months", "3-month review", "An early look for regrowth", s.COMMON_PRACTICE
    SIX_MONTHS = "six_months", "6-month review", "The first look for regrowth", s.ROUNDING_COCHRANE
    TWELVE_MONTHS = "twelve_months", "12-month review", "The look that the audit counts", s.BOS_2007
    TWENTY_FOUR_MONTHS = "twenty_four_months", "24-month review", "A late look for regrowth", s.COMMON_PRACTICE


class ReviewMode(Term):
    """How a review may be done."""

    IN_PERSON = "in_person", "In person", "The toe has to be seen in the room", s.COMMON_PRACTICE
    ANY = "any", "In person, photograph or phone", "A clinician decides which", s.COMMON_PRACTICE
    PREFERRED = (
        "preferred", "In person if possible, else any way",
        "Better seen; the patient's own report is better than nothing", s.COMMON_PRACTICE,
    )  # fmt: skip
    REMOTE = (
        "remote", "Patient's own report is enough", "Questionnaire, photograph or phone", s.COMMON_PRACTICE,
    )  # fmt: skip

    @property
    def takes_report(self) -> bool:
        """Whether the patient may be asked by a link."""
        return self in {ReviewMode.PREFERRED, ReviewMode.REMOTE}


class Item(Term):
    """One answer that a review must bring to count as done. A look that could not tell brings none on regrowth."""

    HEALING = "healing", "Healing", "Whether the toe heals", s.OWN_DESIGN
    SIGNS = "signs", "Signs of infection", "Whether signs were looked for", s.OWN_DESIGN
    PAIN = "pain", "Pain score", "A number from 0 to 10", s.FARRAR_2001
    REGROWTH = (
        "regrowth",
        "Regrowth at each treated side",
        "Seen or not seen, where the matrix was treated",
        s.OWN_DESIGN,
    )
    SYMPTOMS = "symptoms", "Symptoms at each treated side", "Whether the side troubles the patient", s.OWN_DESIGN
