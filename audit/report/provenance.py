"""Which program made the figures: a digest of the source that counts, and the libraries it stood on."""

import platform
from functools import cache
from hashlib import sha256
from importlib.metadata import version
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
# Whatever could change a figure: reading records, counting, estimating, and the meaning of codes.
COUNTING = (
    "audit/stats", "audit/measures", "audit/report", "audit/charts/words.py", "audit/cohort.py",
    "audit/process_cohort.py", "audit/log_cohort.py", "audit/records.py", "audit/periods.py", "clinic/vocabulary",
    "clinic/schedule.py", "clinic/dosing", "clinic/preparation/matching.py", "clinic/preparation/models.py",
    "clinic/procedures/clearance.py", "clinic/procedures/models.py", "clinic/reviews/models.py",
)  # fmt: skip
LIBRARIES = ("numpy", "scipy", "pandas")


@cache
def code_version() -> str:
    """Sixteen digits that change when any source file that counts changes."""
    digest = sha256()
    for name in COUNTING:
        place = ROOT / name
        for file in sorted(place.rglob("*.py")) if place.is_dir() else [place]:
            digest.update(file.relative_to(ROOT).as_posix().encode())
            digest.update(file.read_bytes())
    return digest.hexdigest()[:16]


@cache
def libraries() -> dict[str, str]:
    return {"python": platform.python_version(), **{name: version(name) for name in LIBRARIES}}
