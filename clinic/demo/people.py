"""The invented cast of the demonstration. Every name says that it is one; nobody here exists."""

from dataclasses import dataclass

from clinic.access.rules import Role


@dataclass(frozen=True)
class Person:
    username: str
    given_name: str
    family_name: str
    role: Role


@dataclass(frozen=True)
class House:
    """A practice of the demonstration."""

    code: str
    name: str
    number_prefix: str
    people: tuple[Person, ...]


LEAD, SECOND, TRAINEE = "orla", "idris", "wanda"
ASSISTANT, RECEPTION = "theo", "pip"
HARBOUR_LEAD, HARBOUR_SECOND = "harper", "quill"
EXPOSURE_BANDS_SECONDS = [60, 90, 120, 180]

TARNWICK = House(
    "tarnwick",
    "Tarnwick Sands Foot Clinic (fictional)",
    "TS",
    (
        Person(LEAD, "Orla", "Testwell", Role.LEAD),
        Person(SECOND, "Idris", "Placeholder", Role.PRACTITIONER),
        Person(TRAINEE, "Wanda", "Samplesby", Role.PRACTITIONER),
        Person(ASSISTANT, "Theo", "Mockup", Role.ASSISTANT),
        Person(RECEPTION, "Pip", "Fixture", Role.RECEPTION),
        Person("ravi", "Ravi", "Sandbox", Role.REVIEWER),
        Person("ada", "Ada", "Stubbins", Role.ADMINISTRATOR),
    ),
)
HARBOUR = House(
    "example-harbour",
    "Example Harbour Podiatry (fictional)",
    "EH",
    (
        Person(HARBOUR_LEAD, "Harper", "Sampleton", Role.LEAD),
        Person(HARBOUR_SECOND, "Quill", "Dummett", Role.PRACTITIONER),
    ),
)
HOUSES = (TARNWICK, HARBOUR)
# Other practices of the peer group: they have handed in sets, and no record of theirs is here.
PEERS = (
    House("example-mill", "Example Mill Footcare (fictional)", "EM", ()),
    House("sample-ferry", "Sample Ferry Podiatry (fictional)", "SF", ()),
    House("testwell-green", "Testwell Green Foot Rooms (fictional)", "TG", ()),
    House("mockup-hill", "Mockup Hill Nail Clinic (fictional)", "MH", ()),
)

# Nineteen, so that patient 1 is Avery and patient 171 is Robin.
GIVEN_NAMES = (
    "Avery", "Blake", "Casey", "Devon", "Ellis", "Frankie", "Glenn", "Hayden", "Indigo", "Jules",
    "Kit", "Lesley", "Morgan", "Noel", "Oakley", "Perrin", "Quinn", "Rowan", "Robin",
)  # fmt: skip


def given_name(number: int) -> str:
    return GIVEN_NAMES[(number - 1) % len(GIVEN_NAMES)]


def family_name(number: int) -> str:
    return f"Example-{number:03}"


def phone(number: int) -> str:
    """Only numbers that the regulator keeps for fiction."""
    return f"01632 960{number % 1000:03}"
