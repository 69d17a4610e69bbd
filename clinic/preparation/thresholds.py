"""From where on a finding raises a flag: one table with its sources. Every value is a default that a practice may set.

Pure: no Django, no records.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation
from types import MappingProxyType

from clinic.vocabulary import sources as s
from clinic.vocabulary.preparation import FlagLevel
from clinic.vocabulary.terms import Source


@dataclass(frozen=True)
class Threshold:
    """label says which side of the value raises the flag; low and high bound what a practice may set, inclusive."""

    name: str
    label: str
    unit: str
    default: Decimal
    low: Decimal
    high: Decimal
    level: FlagLevel
    source: Source


def _row(
    name: str, label: str, unit: str, default: str, low: str, high: str, level: FlagLevel, source: Source
) -> Threshold:
    return Threshold(name, label, unit, Decimal(default), Decimal(low), Decimal(high), level, source)


CAUTION, STOP, NOTE = FlagLevel.CAUTION, FlagLevel.STOP, FlagLevel.NOTE
THRESHOLDS = (
    _row("abpi_caution_below", "ABPI below", "", "0.90", "0", "2", CAUTION, s.PAD_GUIDANCE),
    _row("abpi_caution_above", "ABPI above", "", "1.30", "0", "2", CAUTION, s.PAD_GUIDANCE),
    _row("abpi_stop_below", "ABPI below", "", "0.50", "0", "2", STOP, s.NAIL_HANDBOOK),
    _row("toe_pressure_caution_below", "Toe pressure below", "mmHg", "60", "0", "250", CAUTION, s.PERFUSION_GRADES),
    _row("toe_pressure_stop_below", "Toe pressure below", "mmHg", "40", "0", "250", STOP, s.NAIL_HANDBOOK),
    _row("toe_pressure_critical_below", "Toe pressure below", "mmHg", "30", "0", "250", STOP, s.PERFUSION_GRADES),
    _row("tbi_caution_below", "TBI below", "", "0.70", "0", "1.5", CAUTION, s.PAD_GUIDANCE),
    _row("ankle_pressure_stop_below", "Ankle pressure below", "mmHg", "50", "0", "300", STOP, s.PERFUSION_GRADES),
    _row("monofilament_caution_below", "Sites felt fewer than", "of 10", "8", "0", "10", CAUTION, s.COMMON_PRACTICE),
    _row("hba1c_mmol_caution_from", "HbA1c from", "mmol/mol", "69", "20", "200", CAUTION, s.HBA1C_BEFORE_SURGERY),
    _row("hba1c_percent_caution_from", "HbA1c from", "%", "8.5", "4", "20", CAUTION, s.HBA1C_BEFORE_SURGERY),
    _row("hba1c_months", "HbA1c older than", "months", "6", "1", "24", CAUTION, s.COMMON_PRACTICE),
    _row("inr_stop_above", "INR above", "", "3.5", "0.5", "10", STOP, s.INR_SKIN_SURGERY),
    _row("inr_days", "INR older than", "days", "3", "0", "30", STOP, s.COMMON_PRACTICE),
    _row("child_below_years", "Age below", "years", "16", "0", "21", NOTE, s.COMMON_PRACTICE),
)
DEFAULTS: Mapping[str, Decimal] = MappingProxyType({row.name: row.default for row in THRESHOLDS})
# What weighs more must not begin earlier than what weighs less.
ASCENDING = (
    ("abpi_stop_below", "abpi_caution_below"),
    ("abpi_caution_below", "abpi_caution_above"),
    ("toe_pressure_critical_below", "toe_pressure_stop_below"),
    ("toe_pressure_stop_below", "toe_pressure_caution_below"),
)


def thresholds_with(own: Mapping[str, object]) -> Mapping[str, Decimal]:
    """The table with a practice's own values in place of the defaults; what it leaves out stays the default.

    Raises ValueError for a name that is not in the table, a value that is no number or out of its bounds, and a
    pair in the wrong order.
    """
    rows = {row.name: row for row in THRESHOLDS}
    if unknown := sorted(set(own) - set(rows)):
        raise ValueError(f"{unknown[0]} is no threshold")
    values = dict(DEFAULTS) | {name: _number(rows[name], value) for name, value in own.items()}
    for lower, upper in ASCENDING:
        if values[lower] > values[upper]:
            raise ValueError(f"{lower} is {values[lower]}, above {upper}, which is {values[upper]}")
    return MappingProxyType(values)


def _number(row: Threshold, value: object) -> Decimal:
    try:
        number = Decimal(str(value))
    except InvalidOperation:
        number = Decimal("NaN")
    if number.is_nan():
        raise ValueError(f"{row.name} must be a number; it is {value!r}")
    if not row.low <= number <= row.high:
        raise ValueError(f"{row.name} must be between {row.low} and {row.high}; it is {value}")
    if row.unit in {"months", "days"} and number != number.to_integral_value():
        raise ValueError(f"{row.name} must be whole {row.unit}; it is {value}")
    return number
