"""Contrast of the colour tokens, in both themes.

WCAG 2.2: 1.4.3 asks 4.5:1 for text, 1.4.11 asks 3:1 for controls, focus and the parts of a
drawing that carry meaning. Relative luminance and contrast ratio as WCAG 2.2 defines them.
"""

import re
from pathlib import Path

import pytest

CSS = Path(__file__).resolve().parents[2] / "clinic" / "static" / "css"
TOKENS = (CSS / "tokens.css").read_text(encoding="utf-8")

TEXT = [
    *[("ink", ground) for ground in ("surface", "ground", "sunk", "wash")],
    *[("ink2", ground) for ground in ("surface", "ground", "sunk", "wash")],
    *[("accent", ground) for ground in ("surface", "ground", "wash", "sunk")],
    ("press", "surface"),
    ("press", "wash"),
    ("on-accent", "accent"),
    ("on-accent", "press"),
    *[(ink, f"{ink}-wash") for ink in ("late", "new", "ok", "care")],
    ("ink", "care-wash"),
    ("late", "surface"),
    ("late", "sunk"),
    ("ink", "skin"),  # names of the toes
    ("on-paper", "paper"),  # a stored picture keeps its white ground in the dark
]
SIGNS = [
    ("edge", "surface"),
    ("edge", "ground"),
    ("focus", "surface"),
    ("focus", "ground"),
    ("focus", "sunk"),
    ("band-edge", "surface"),
    ("late", "band"),
    ("accent", "plate"),
    ("accent", "skin"),
    ("plate-line", "plate"),
    ("ink", "band"),
    ("new", "band"),
    ("new", "surface"),
    ("on-accent", "accent"),
    ("accent", "track"),
]


def block(start: str) -> dict[str, str]:
    """The colour tokens of the first block after `start`."""
    body = TOKENS[TOKENS.index(start) :].partition("{")[2]
    return dict(re.findall(r"--([\w-]+):\s*(#[0-9a-f]{6});", body.partition("}")[0]))


LIGHT = block(":root")
DARK = block('html:not([data-theme="light"])')
DARK_CHOSEN = block('html[data-theme="dark"]')


def luminance(colour: str) -> float:
    parts = [int(colour[place : place + 2], 16) / 255 for place in (1, 3, 5)]
    red, green, blue = (p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(first: str, second: str) -> float:
    lighter, darker = sorted((luminance(first), luminance(second)), reverse=True)
    return (lighter + 0.05) / (darker + 0.05)


def test_the_formula_knows_its_ends():
    assert contrast("#000000", "#ffffff") == pytest.approx(21)
    assert contrast("#777777", "#ffffff") == pytest.approx(4.48, abs=0.01)


@pytest.mark.parametrize("theme", [LIGHT, DARK], ids=["light", "dark"])
@pytest.mark.parametrize(("ink", "ground"), TEXT, ids="-on-".join)
def test_text_reaches_4_5(theme, ink, ground):
    assert contrast(theme[ink], theme[ground]) >= 4.5


@pytest.mark.parametrize("theme", [LIGHT, DARK], ids=["light", "dark"])
@pytest.mark.parametrize(("ink", "ground"), SIGNS, ids="-on-".join)
def test_controls_and_drawings_reach_3(theme, ink, ground):
    assert contrast(theme[ink], theme[ground]) >= 3


def test_dark_is_the_same_by_device_and_by_choice():
    assert DARK == DARK_CHOSEN
    assert DARK.keys() == LIGHT.keys()


def test_paper_never_gets_the_dark_colours():
    for place in (m.start() for m in re.finditer("color-scheme: dark;", TOKENS)):
        media = TOKENS.rindex("@media", 0, place)
        assert TOKENS[media:].startswith("@media screen")


def test_colours_are_written_in_the_token_file_only():
    """A shadow may be written where it is used; a colour with meaning may not."""
    for file in CSS.glob("*.css"):
        if file.name in {"tokens.css", "print.css"}:
            continue
        assert re.findall(r"#[0-9a-f]{3,8}\b(?![^;{]*\{)", file.read_text(encoding="utf-8")) in ([], ["#10252b2e"])


def test_nothing_is_loaded_from_elsewhere():
    for file in CSS.glob("*.css"):
        text = file.read_text(encoding="utf-8")
        assert "//" not in text.replace("://", "//!") or "http" not in text
        assert "@import" not in text
