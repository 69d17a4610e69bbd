"""Makes the two web fonts out of the typeface that comes as a Python package.

The fonts are built and not kept in the repository: the package carries the typeface with
its licence (SIL Open Font License), and the subset is small and made in a second.
"""

from __future__ import annotations

from importlib import import_module
from pathlib import Path

PACKAGE = "fontpkg_atkinson_hyperlegible"
WEIGHTS = ("Regular", "Bold")
LETTERS = "".join(
    chr(code)
    for first, last in ((0x20, 0x7E), (0xA0, 0x17F), (0x218, 0x21B), (0x2010, 0x2015), (0x2018, 0x201E))
    for code in range(first, last + 1)
)
SIGNS = "•…‰′″‹›€™−×÷≤≥≈≠½¼¾"
FEATURES = ["kern", "mark", "mkmk", "liga", "ccmp", "locl", "tnum", "zero", "frac"]


def font_file(weight: str) -> Path:
    """The complete typeface of one weight, as the package brings it."""
    return Path(str(import_module(PACKAGE).__file__)).parent / "files" / f"AtkinsonHyperlegible-{weight}.ttf"


def make_fonts(target_dir: Path) -> list[Path]:
    """Write AtkinsonHyperlegible-Regular and -Bold as woff2 below target_dir; return the files."""
    # Only this command needs fontTools, so a running site does not load it.
    from fontTools import subset

    target_dir.mkdir(parents=True, exist_ok=True)
    written = []
    for weight in WEIGHTS:
        options = subset.Options()
        options.flavor = "woff2"
        options.layout_features = FEATURES
        options.hinting = False
        options.desubroutinize = True
        options.name_IDs = [0, 1, 2, 5, 13, 14]  # keeps copyright and licence with the font
        options.recalc_timestamp = False  # same input, same bytes
        font = subset.load_font(str(font_file(weight)), options)
        subsetter = subset.Subsetter(options)
        subsetter.populate(text=LETTERS + SIGNS)
        subsetter.subset(font)
        target = target_dir / f"AtkinsonHyperlegible-{weight}.woff2"
        subset.save_font(font, str(target), options)
        written.append(target)
    return written
