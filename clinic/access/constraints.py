"""Database checks said once: a coded field holds one of its terms, a number lies in its range."""

from django.db.models import CheckConstraint, Q

from clinic.vocabulary.terms import Term


def one_of(model: str, field: str, terms: type[Term], *, or_empty: bool = False) -> CheckConstraint:
    """The stored code is one of `terms`; or_empty: where nothing need be stored."""
    codes = ["", *terms.codes()] if or_empty else terms.codes()
    return CheckConstraint(condition=Q(**{f"{field}__in": codes}), name=f"{model}_{field}_known")


def between(model: str, field: str, low: int | float, high: int | float) -> CheckConstraint:
    """The stored number lies from low to high, both included; empty passes."""
    inside = Q(**{f"{field}__gte": low, f"{field}__lte": high})
    return CheckConstraint(condition=inside | Q(**{f"{field}__isnull": True}), name=f"{model}_{field}_range")
