"""Text in cells of files that a spreadsheet may open."""

# A spreadsheet takes a cell that begins like this for a formula; some read full-width signs the same.
_FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\uff1d", "\uff0b", "\uff0d", "\uff20")


def safe_cell(text: str) -> str:
    """Text that no spreadsheet runs. Some look past a leading blank, so a formula behind one counts too."""
    starts_a_formula = text.startswith(_FORMULA_STARTS) or text.lstrip().startswith(_FORMULA_STARTS)
    return f"'{text}" if starts_a_formula else text
