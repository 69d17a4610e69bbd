"""Audit years by name: light enough for every page."""

from datetime import date


def year_of(day: date, starts_month: int) -> int:
    """The year in which the audit year of this day begins."""
    return day.year if day.month >= starts_month else day.year - 1


def year_label(year: int) -> str:
    """'2023–24'."""
    return f"{year}–{(year + 1) % 100:02}"
