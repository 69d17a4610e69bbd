"""What counts in the audit, with version and sources. Printed on every report."""

from dataclasses import dataclass

from clinic.vocabulary import sources as s
from clinic.vocabulary.terms import Source, Term

VERSION = "1"

CLOSED_WINDOW = Source("Eligible once the outcome window has closed, whatever was seen before", s.OWN_DESIGN.note)
ATTRITION = Source(
    "Sackett DL et al. Evidence-Based Medicine. Churchill Livingstone 1997",
    "from memory, unverified; 20 % is a convention",
)
NEWCOMBE_1998 = Source("Newcombe RG. Stat Med 1998;17:857-872", "formula recomputed, page not re-read")
RAO_SCOTT_1992 = Source(
    "Rao JNK, Scott AJ. Biometrics 1992;48:577-585", "design effects agree with a published example"
)


TURNBULL_1976 = Source("Turnbull BW. J R Stat Soc B 1976;38:290-295", "agrees with worked examples")
SPIEGELHALTER_2005 = Source("Spiegelhalter DJ. Stat Med 2005;24:1185-1202", "limits agree with a published example")
ARMITAGE_1955 = Source("Armitage P. Biometrics 1955;11:375-386", "from memory, unverified; the test is checked")


class Outcome(Term):
    """Three outcomes, each derived from what was recorded; every figure names its own."""

    ANY_REGROWTH = (
        "any_regrowth", "Any regrowth",
        "A spicule, a partial strip or full-width nail from the treated matrix; matricectomy only", s.ROUNDING_COCHRANE,
    )  # fmt: skip
    SYMPTOMATIC_RECURRENCE = (
        "symptomatic_recurrence", "Symptomatic recurrence",
        "Ingrowth at the treated side, or pain or infection there together with regrowth", s.ROUNDING_COCHRANE,
    )  # fmt: skip
    RE_OPERATION = (
        "re_operation", "Re-operation",
        "A second procedure on the same side for recurrence, done here or elsewhere; planned does not count",
        s.OWN_DESIGN,
    )  # fmt: skip


class Unit(Term):
    SIDE = "side", "Treated side", "One treated nail edge, or a whole nail", s.OWN_DESIGN
    TOE = "toe", "Nail procedure", "All treated sides of one toe at one operation", s.OWN_DESIGN
    PATIENT = "patient", "Patient", "All operations of one patient in the period", s.OWN_DESIGN

    @property
    def plural(self) -> str:
        return f"{self.label.lower()}s"


class Status(Term):
    """Where a unit stands at 12 months; exactly one of these."""

    EVENT = "event", "Event", "The outcome was seen by the last day of the window", s.OWN_DESIGN
    CLEAR = "clear", "Clear", "Found clear on or after the first day of the window, no event by the last", s.OWN_DESIGN
    LOST = "lost", "Lost", "The window has closed and the outcome is not known", s.OWN_DESIGN
    PENDING = "pending", "Pending", "The window has not closed; in no percentage, whatever was seen", CLOSED_WINDOW
    CENSORED_DEATH = "censored_death", "Died before", "Died before the window opened, without an event", s.OWN_DESIGN
    CENSORED_REOPERATION = (
        "censored_reoperation", "Re-operated before",
        "The same side was operated on again before the outcome could be known", s.OWN_DESIGN,
    )  # fmt: skip
    CENSORED_AMPUTATION = (
        "censored_amputation", "Toe amputated before",
        "The toe was amputated before the outcome could be known", s.OWN_DESIGN,
    )  # fmt: skip
    NOT_APPLICABLE = (
        "not_applicable", "Not applicable",
        "The outcome does not apply: regrowth is expected where no matrix was destroyed", s.OWN_DESIGN,
    )  # fmt: skip


CENSORED = (Status.CENSORED_DEATH, Status.CENSORED_REOPERATION, Status.CENSORED_AMPUTATION)


class HowKnown(Term):
    """How the 12-month outcome of a unit became known."""

    OPERATOR = "operator", "Seen by the operator", "In person, by who operated", s.OWN_DESIGN
    COLLEAGUE = "colleague", "Seen by a colleague", "In person, by another clinician of the practice", s.OWN_DESIGN
    INDEPENDENT = "independent", "Seen by an independent clinician", "In person, stated as independent", s.OWN_DESIGN
    PHOTO = "photo", "Photograph", "Read from a photograph", s.OWN_DESIGN
    QUESTIONNAIRE = "questionnaire", "Questionnaire", "Written answers of the patient", s.OWN_DESIGN
    PHONE = "phone", "Phone", "Asked by phone or video", s.OWN_DESIGN
    OTHER_PROVIDER = "other_provider", "Another provider", "A clinician outside the practice, or a letter", s.OWN_DESIGN
    OPERATION_RECORD = (
        "operation_record", "Record of a later operation",
        "No review says so; a later operation on the same side is on record", s.OWN_DESIGN,
    )  # fmt: skip
    PATIENT_IN_PERSON = (
        "patient_in_person", "The patient's word at a visit",
        "Marked in person, but the patient is the observer; not an examination", s.OWN_DESIGN,
    )  # fmt: skip
    NOT_APPLICABLE = "not_applicable", "Not applicable", "No 12-month outcome is known", s.OWN_DESIGN


class Shown(Term):
    """How much of a group may be shown."""

    FULL = "full", "Shown", "20 or more units of 5 or more patients", s.OWN_DESIGN
    HOLLOW = "hollow", "Too few to judge", "10 to 19 units of 5 or more patients; hollow mark", s.OWN_DESIGN
    LISTED = "listed", "Listed, no rate", "Fewer than 10 units or 5 patients; events are listed", s.OWN_DESIGN
    EMPTY = "empty", "No cases", "No unit with a known outcome", s.OWN_DESIGN
    NOT_APPLICABLE = "not_applicable", "Not applicable", "The outcome is not counted in this group", s.OWN_DESIGN


@dataclass(frozen=True)
class Window:
    """Days since operation between which an outcome is asked for; both belong to the window."""

    opens_day: int
    closes_day: int

    def contains(self, day: float) -> bool:
        return self.opens_day <= day <= self.closes_day


@dataclass(frozen=True)
class ThinData:
    """Below `rate_units` or `rate_patients` no rate; below `judged_units` a hollow mark."""

    rate_units: int = 10
    rate_patients: int = 5
    judged_units: int = 20


@dataclass(frozen=True)
class Definition:
    """One rule of counting, with the sentence printed for it."""

    code: str
    label: str
    sentence: str
    source: Source


@dataclass(frozen=True)
class DefinitionSet:
    """All rules of one version; a figure is only comparable with one of the same version."""

    version: str
    items: tuple[Definition, ...]


# Not the review window of the schedule: that says when to look, this says what counts. They agree by default.
TWELVE_MONTHS = Window(335, 425)
DEFAULT_BANDS = (30, 60, 120, 180)
THIN = ThinData()
LOSS_LIMIT = 0.20

OUTCOMES = tuple(Outcome.choices())
UNITS = tuple(Unit.choices())


def _of_outcome(outcome: Outcome) -> Definition:
    return Definition(outcome.value, outcome.label, f"{outcome.label}: {outcome.meaning}.", outcome.source)


DEFINITIONS = DefinitionSet(
    VERSION,
    (
        *(_of_outcome(outcome) for outcome in Outcome),
        Definition(
            "unit", "Unit",
            "Counted per treated side (tibial, fibular or whole nail) unless another unit is named. A toe or patient "
            "has an event if any treated side has one; without an event its outcome is known only if that of every "
            "side is.",
            s.OWN_DESIGN,
        ),
        Definition(
            "window", "12-month outcome",
            f"The outcome is read between day {TWELVE_MONTHS.opens_day} and day {TWELVE_MONTHS.closes_day} after the "
            f"operation. An event counts if first seen by day {TWELVE_MONTHS.closes_day}; a unit is clear if found "
            f"clear on day {TWELVE_MONTHS.opens_day} or later. The first event counts; a clear finding after it "
            "changes nothing.",
            s.OWN_DESIGN,
        ),
        Definition(
            "eligible", "Eligible",
            f"Eligible once {TWELVE_MONTHS.closes_day} days have passed by the cut-off. Younger ones are pending and "
            "are in no percentage, even with an event already seen.",
            CLOSED_WINDOW,
        ),
        Definition(
            "censored", "Counted apart",
            f"Death before day {TWELVE_MONTHS.opens_day} without an event, and re-operation of the same side or "
            f"amputation of the toe by day {TWELVE_MONTHS.closes_day} before the outcome was known, are counted apart "
            "and are not in the eligible.",
            s.OWN_DESIGN,
        ),
        Definition(
            "late", "Seen after the window",
            f"An event first seen after day {TWELVE_MONTHS.closes_day} is not in the rate; it is printed apart, and in "
            "the worst case where nothing clear was found within the window.",
            s.OWN_DESIGN,
        ),
        Definition(
            "bounds", "Best and worst case",
            "Best case: events of all eligible. Worst case: events and lost of all eligible.", s.OWN_DESIGN,
        ),
        Definition(
            "matricectomy", "Matricectomy only",
            "Where no matrix was destroyed regrowth is expected: those sides are in no headline and have a line of "
            "their own, with symptomatic recurrence only.",
            s.OWN_DESIGN,
        ),
        Definition(
            "bands", "Exposure bands",
            "The upper limit belongs to its band; not recorded stays a group of its own. Unless the practice sets "
            f"others, the bands end at {', '.join(str(limit) for limit in DEFAULT_BANDS)} s.",
            s.COMMON_PRACTICE,
        ),
        Definition(
            "thin", "Thin data",
            f"Fewer than {THIN.rate_units} units or {THIN.rate_patients} patients: events are listed without a rate. "
            f"{THIN.rate_units} to {THIN.judged_units - 1} units: hollow mark, too few to judge.",
            s.OWN_DESIGN,
        ),
        Definition(
            "loss", "Loss to follow-up",
            "Loss above 20 % of the eligible, or above the event rate, is said in words: losses are rarely random.",
            ATTRITION,
        ),
        Definition(
            "curve", "Estimated over time",
            "The day of an event lies between the last look without and the first look with it; the curve is the "
            "estimate from these intervals, drawn as a band where they leave it open, up to the last day with 10 "
            "patients under observation. Limits by 1,000 draws of patients.",
            TURNBULL_1976,
        ),
        Definition(
            "year", "Audit year",
            "An operation belongs to the audit year of its day. Earlier years are counted again with what is known at "
            "this cut-off, so they may differ from the reports of their time.",
            s.OWN_DESIGN,
        ),
        Definition(
            "operator", "Operators",
            "Under letters without rank, for the practice lead only; fewer than five stand in a table, from five on in "
            "a funnel. Outside its limits means: look at data quality, case mix, then practice.",
            SPIEGELHALTER_2005,
        ),
        Definition(
            "exposure_trend", "Exposure and regrowth",
            "One technique and agent at the strength used most often. Odds ratio per doubling of the seconds, "
            "clustered on the patient and adjusted for the operator; with fewer than 3 bands or 10 events an exact "
            "test instead. Not recorded is counted, never guessed.",
            ARMITAGE_1955,
        ),
        Definition(
            "lost_and_seen", "Lost beside seen",
            "Eligible units of the headline by what was known at operation; no test, because a difference that cannot "
            "be shown is no proof that there is none.",
            s.OWN_DESIGN,
        ),
        Definition(
            "healing", "Healing",
            "Healed from the first look that found the toe dry; before it lies the last look that found it moist or "
            "not healing. The day lies between both; quartiles are read from the estimate over these intervals.",
            TURNBULL_1976,
        ),
        Definition(
            "healed_in_time", "Healed in time",
            "Dry by day 56 after partial and by day 84 after total removal of the plate, of the toes of which this is "
            "known. Open before and dry after that day, with no look at it, is counted apart.",
            s.COMMON_PRACTICE,
        ),
        Definition(
            "pain", "Pain",
            "Score 0 to 10 at the reviews within the window of each review point, the last of each toe; not asked is "
            "counted apart.",
            s.FARRAR_2001,
        ),
        Definition(
            "review_done", "Review done",
            "A toe was looked at or asked about within the window of the review point, of the toes whose window has "
            "closed and whose follow-up had not ended before it opened.",
            s.COMMON_PRACTICE,
        ),
        Definition(
            "unplanned", "Unplanned contact",
            "A review that the patient asked for on day 1 to 30, or an entry of the contact log on day 0 to 30 that "
            "reports a problem; per operation, of those at least 30 days old.",
            s.OWN_DESIGN,
        ),
        Definition(
            "satisfied", "Satisfied",
            "The patient’s last answer was satisfied or very satisfied, of the toes with an answer.", s.COMMON_PRACTICE,
        ),
        Definition(
            "serious", "Serious incident",
            "An event on record with moderate or severe harm; a wrong toe or side, signs of toxicity after the "
            "anaesthetic and severe allergic signs also without harm, unless noticed before they reached the patient. "
            "Reviewed: the duty of candour was completed.",
            s.COMMON_PRACTICE,
        ),
        Definition(
            "process", "Criteria of process",
            "Per nail procedure of the period, from the operative record; every case counts, so a target of 100 % is "
            "met only if none is missing.",
            s.OWN_DESIGN,
        ),
        Definition(
            "verdict", "Verdict by rule",
            "Met if the whole 95 % interval lies on the good side of the target, not met if it lies on the other, else "
            "cannot tell. A target of 100 % or of no case is judged on the count itself. Recurrence is judged on the "
            "estimate over time.",
            s.OWN_DESIGN,
        ),
        Definition(
            "interval", "Interval",
            "95 % Wilson score interval where every patient contributes one unit.", NEWCOMBE_1998,
        ),
        Definition(
            "clustering", "Several units of one patient",
            "Otherwise the Wilson interval stands on the effective number of units, clustered on the patient. With no "
            "event, or only events, the patients are the units.",
            RAO_SCOTT_1992,
        ),
    ),
)  # fmt: skip
