"""The standing clock and the operations of following up."""

from tests.clinic.some_days_ago import NOW, TODAY, clock, operated

__all__ = ["NOW", "TODAY", "clock", "operated"]
