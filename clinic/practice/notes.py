"""From where a practice asks for a note: exposure in seconds, tourniquet in minutes. Facts, never advice."""

from dataclasses import dataclass
from datetime import timedelta
from enum import StrEnum

from clinic.access.models import Practice


def exposure_note(practice: Practice, seconds: int) -> str:
    """'the total of 181 s is above 180 s, from where …'; empty inside the range, whose limits belong to it."""
    above, below = practice.exposure_note_seconds, practice.exposure_note_below_seconds
    if seconds > above:
        return f"the total of {seconds} s is above {above} s, from where this practice asks for a note"
    if below is not None and seconds < below:
        return f"the total of {seconds} s is below {below} s, under which this practice asks for a note"
    return ""


class TourniquetLevel(StrEnum):
    QUIET = ""
    NOTE = "note"
    ALARM = "alarm"


@dataclass(frozen=True)
class TourniquetTime:
    """How long a tourniquet was on, or is on by now; exactly at a limit it is not yet over it."""

    lasted: timedelta
    note_minutes: int
    alarm_minutes: int

    @property
    def minutes(self) -> int:
        """Whole minutes that have passed."""
        return int(self.lasted.total_seconds() // 60)

    @property
    def level(self) -> TourniquetLevel:
        if self.lasted > timedelta(minutes=self.alarm_minutes):
            return TourniquetLevel.ALARM
        return TourniquetLevel.NOTE if self.lasted > timedelta(minutes=self.note_minutes) else TourniquetLevel.QUIET

    @property
    def said(self) -> str:
        """'31 minutes'; just over a limit, whose whole minutes have not changed yet, 'more than 30 minutes'."""
        return f"{self.minutes} minutes" if self.minutes != self.over_minutes else f"more than {self.minutes} minutes"

    @property
    def over_minutes(self) -> int:
        """The limit that it is over; 0 for none."""
        limits = {TourniquetLevel.ALARM: self.alarm_minutes, TourniquetLevel.NOTE: self.note_minutes}
        return limits.get(self.level, 0)


def tourniquet_time(practice: Practice, lasted: timedelta) -> TourniquetTime:
    return TourniquetTime(lasted, practice.tourniquet_note_minutes, practice.tourniquet_alarm_minutes)
