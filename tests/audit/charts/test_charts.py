"""A chart's picture, words, table and file say the same, and none of them can be turned against the reader."""

import csv
import io
from xml.etree import ElementTree

import pytest

from audit.charts.draw import COLUMNS, DRAW, THEMES, image
from audit.charts.spec import Chart, IntervalRow, Kind
from audit.charts.words import WORDS, alt_text, csv_text, percent, safe_cell, standard_text, table

PAYLOAD = '<script>alert("x")</script> & $x_1$'
SVG = "{http://www.w3.org/2000/svg}"


def row(label="Partial nail avulsion", *, hollow=False, note=""):
    return IntervalRow(label, 4, 80, 0.05, 0.0196, 0.1216, hollow, note)


def thin_row(label="Wedge excision"):
    return IntervalRow(label, 1, 7, None, None, None, hollow=False, note="fewer than 10 sides")


def empty_row(label="Not recorded"):
    return IntervalRow(label, 0, 0, None, None, None, hollow=False)


def far_row(label="Avulsion only"):
    return IntervalRow(label, 4, 10, 0.4, 0.168, 0.687, hollow=True)


def chart(*rows, standard=0.05):
    return Chart("by-technique", "Recurrence by technique", Kind.INTERVALS, rows, "Recurred, % of sides", standard)


def words_in(picture):
    return [element.text for element in ElementTree.fromstring(picture).iter(f"{SVG}text")]


def hollow_dots(picture):
    return picture.count(b"fill: #ffffff; stroke: #10252b")


def firm_dots(picture):
    return picture.count(b"fill: #10252b; stroke: #ffffff")


def chevrons(picture):
    return picture.count(b"fill: none; stroke: #10252b")


def test_every_kind_can_be_drawn_and_said():
    assert set(DRAW) == set(WORDS) == set(Kind)


@pytest.mark.parametrize("form", ["svg", "png"])
def test_the_same_chart_gives_the_same_bytes(form):
    first, second = (image(chart(row(), far_row()), form=form) for _ in range(2))

    assert first == second


@pytest.mark.parametrize("width", COLUMNS)
@pytest.mark.parametrize("theme", THEMES)
def test_every_number_drawn_is_in_the_rows(theme, width):
    drawn = words_in(image(chart(row(), thin_row(), empty_row()), theme=theme, width=width))

    for expected in ("4 of 80", "5.0 % (2.0 to 12.2)", "1 of 7", "no rate shown", "no cases", "standard 5 %"):
        assert expected in drawn


@pytest.mark.parametrize("width", COLUMNS)
def test_a_long_label_is_wrapped_and_no_word_of_it_lost(width):
    label = "Partial nail avulsion with chemical matricectomy, sodium hydroxide"

    drawn = words_in(image(chart(row(label)), width=width))

    assert label in " ".join(drawn)
    assert label not in drawn


def test_a_picture_grows_with_its_rows():
    heights = [float(ElementTree.fromstring(image(chart(*[row()] * n))).get("height")[:-2]) for n in (1, 5, 12)]

    assert heights[1] > 2 * heights[0]
    assert heights[2] > 2 * heights[1]


def test_text_is_at_least_twelve_pixels_high():
    for element in ElementTree.fromstring(image(chart(row(), thin_row()))).iter(f"{SVG}text"):
        size = element.get("style").split("px")[0].split()[-1]
        assert float(size) * 96 / 72 >= 12


def test_a_picture_without_rows_says_no_cases():
    assert words_in(image(chart())) == ["no cases"]
    assert alt_text(chart()) == "Interval chart of Recurrence by technique; no cases; standard 5 %."


def test_few_cases_give_a_hollow_dot():
    picture = image(chart(row(), row(hollow=True)))

    assert (firm_dots(picture), hollow_dots(picture), chevrons(picture)) == (1, 1, 0)
    assert "few cases" in words_in(picture)


def test_a_value_beyond_the_axis_ends_in_a_chevron_without_a_dot():
    picture = image(chart(row(), far_row()))

    assert (firm_dots(picture), hollow_dots(picture), chevrons(picture)) == (1, 0, 1)


def test_a_script_in_a_label_stays_text():
    picture = image(Chart(PAYLOAD, PAYLOAD, Kind.INTERVALS, (row(PAYLOAD),), PAYLOAD))

    assert b"<script" not in picture
    assert {element.tag for element in ElementTree.fromstring(picture).iter()}.isdisjoint({f"{SVG}script", "script"})


def test_control_characters_do_not_break_the_picture():
    drawn = words_in(image(chart(row("Phenol\x00\x0b \x1bwick"))))

    assert "Phenol wick" in drawn


def test_the_words_say_every_group_and_the_standard():
    assert alt_text(chart(row(), thin_row(), empty_row(), row("Few", hollow=True))) == (
        "Interval chart of Recurrence by technique; "
        "Partial nail avulsion: 4 of 80, 5.0 % (2.0 to 12.2 %); "
        "Wedge excision: 1 of 7, no rate shown, fewer than 10 sides; "
        "Not recorded: no cases; "
        "Few: 4 of 80, 5.0 % (2.0 to 12.2 %), few cases; "
        "standard 5 %."
    )


def test_the_table_has_the_same_numbers():
    assert table(chart(row(), thin_row(), empty_row())).rows == (
        ("Partial nail avulsion", "4", "80", "5.0 %", "2.0 to 12.2 %", ""),
        ("Wedge excision", "1", "7", "no rate shown", "", "fewer than 10 sides"),
        ("Not recorded", "0", "0", "no cases", "", ""),
    )


def test_the_file_gives_back_the_very_numbers():
    shown = chart(row(), thin_row())

    first, thin = csv.DictReader(io.StringIO(csv_text(shown)))

    assert [float(first[name]) for name in ("rate", "low", "high", "standard")] == [0.05, 0.0196, 0.1216, 0.05]
    assert (first["events"], first["total"]) == ("4", "80")
    assert (thin["rate"], thin["low"], thin["high"]) == ("", "", "")
    assert "\r" not in csv_text(shown)


@pytest.mark.parametrize("text", ["=1+1", "+1", "-1", "@SUM(A1)", "\tx", "\rx", " =1+1", "\n=1+1", "x\r=1+1"])
def test_the_file_carries_no_formula(text):
    written = csv_text(chart(row(text, note=text)))

    cells = next(csv.DictReader(io.StringIO(written, newline="")))

    safe = text if text.startswith("x") else f"'{text}"
    assert (cells["group"], cells["note"]) == (safe, safe)


def test_plain_text_is_left_as_it_is():
    assert safe_cell("Phenol 80 % - wick") == "Phenol 80 % - wick"


@pytest.mark.parametrize(
    ("rate", "said"), [(0, "0 %"), (-1e-12, "0 %"), (0.0066, "0.66 %"), (0.0501, "5.0 %"), (1, "100.0 %")]
)
def test_a_percentage_has_one_decimal_and_two_below_one_per_cent(rate, said):
    assert percent(rate) == said


@pytest.mark.parametrize(("rate", "said"), [(0.05, "5 %"), (0.075, "7.5 %"), (0.1, "10 %"), (1, "100 %")])
def test_a_standard_shows_only_the_decimals_it_has(rate, said):
    assert standard_text(rate) == said


@pytest.mark.parametrize(
    "numbers",
    [
        (5, 4, None, None, None),  # more events than cases
        (1, 4, 0.25, None, None),  # a rate without its interval
        (0, 0, 0.0, 0.0, 1.0),  # a rate of nothing
        (1, 4, float("nan"), 0.0, 1.0),
        (1, 4, 25.0, 4.6, 69.9),  # percentages
    ],
)
def test_refuses_a_row_that_could_not_be_drawn_honestly(numbers):
    with pytest.raises(ValueError, match="Partial nail avulsion: "):
        IntervalRow("Partial nail avulsion", *numbers, hollow=False)


def test_refuses_a_standard_given_in_percent():
    with pytest.raises(ValueError, match="standard"):
        chart(standard=5)
