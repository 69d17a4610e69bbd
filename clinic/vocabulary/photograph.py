"""Words for a photograph of a toe."""

from clinic.vocabulary import sources as s
from clinic.vocabulary.terms import Term


class PhotographUse(Term):
    """What somebody agreed to. Nothing else may be done with the picture; it never leaves with an export."""

    CARE = "care", "For care only", "Part of the record, seen by those who treat the patient", s.COMMON_PRACTICE
    TEACHING = "care_teaching", "For care and teaching", "Also shown to learners within the practice", s.COMMON_PRACTICE
