"""The drawings: right side, right place, words for who cannot see them."""

import re
from xml.etree import ElementTree

import pytest

from clinic import drawing

NS = "{http://www.w3.org/2000/svg}"


def parsed(markup):
    return ElementTree.fromstring(str(markup))


def by_class(markup, name):
    return [node for node in parsed(markup).iter() if name in node.get("class", "").split()]


ALL = [
    drawing.nail_glyph("right", {"tibial"}),
    drawing.nail_glyph("left", "whole", size=96, label="Left big toe, whole nail"),
    drawing.side_picture("left", "both"),
    drawing.side_picture(None, "tibial"),
    drawing.window_track(35, 56, 42, 43),
    drawing.window_track(335, 395, 365, 900, "late"),
    drawing.window_track(35, 56, None, None),
    drawing.toe_timeline([(0, "surgery"), (9, "report"), (182, "planned")], [(150, 214, "6 months")], [(0, 2), (9, 6)]),
    drawing.toe_timeline([]),
    drawing.interval_strip(0.04, 0.017, 0.09, 0.3, standard=0.05),
    drawing.interval_strip(0.4, 0.168, 0.687, 0.3, hollow=True),
    drawing.interval_strip(None, None, None, 0.3),
    drawing.meter(0.84),
]


@pytest.mark.parametrize("markup", ALL)
def test_every_drawing_is_well_formed_and_has_no_style(markup):
    for node in parsed(markup).iter():
        assert "style" not in node.attrib
        assert not any(name.startswith("on") for name in node.attrib)
        assert "#" not in node.get("fill", "") + node.get("stroke", "")


@pytest.mark.parametrize("markup", ALL)
def test_every_drawing_speaks_or_is_silent(markup):
    pictures = [node for node in parsed(markup).iter() if node.tag.removeprefix(NS) == "svg"]
    assert pictures
    for node in pictures:
        assert (node.get("role") == "img" and node.get("aria-label")) or node.get("aria-hidden") == "true"


@pytest.mark.parametrize(
    ("foot", "side", "seen"),
    [
        ("right", "tibial", "right"),
        ("right", "fibular", "left"),
        ("left", "tibial", "left"),
        ("left", "fibular", "right"),
    ],
)
def test_the_nail_mirrors_with_the_foot(foot, side, seen):
    (cut,) = by_class(drawing.nail_glyph(foot, {side}), "d-cut")
    middle = float(cut.get("x")) + float(cut.get("width")) / 2
    assert (middle > 24) == (seen == "right")
    assert cut.get("data-side") == side


def test_the_tibial_sides_face_each_other_when_the_feet_stand_side_by_side():
    right, left = (by_class(drawing.nail_glyph(foot, "tibial"), "d-cut")[0] for foot in ("right", "left"))
    assert float(right.get("x")) > 24 > float(left.get("x"))


def test_both_sides_and_whole_nail():
    assert len(by_class(drawing.nail_glyph("right", "both"), "d-cut")) == 2
    assert len(by_class(drawing.nail_glyph("right", ["tibial", "fibular"]), "d-cut")) == 2
    whole = drawing.nail_glyph("left", {"whole"})
    assert len(by_class(whole, "d-cut")) == 1
    assert not by_class(whole, "d-plate")
    assert not by_class(drawing.nail_glyph("left", ()), "d-cut")


@pytest.mark.parametrize(("foot", "sides"), [("", {"tibial"}), ("right", {"medial"}), ("both", ())])
def test_an_unknown_side_or_foot_is_not_drawn(foot, sides):
    with pytest.raises(ValueError, match=r"foot|side"):
        drawing.nail_glyph(foot, sides)


def test_the_neighbour_toe_lies_on_the_fibular_side():
    right, left = (parsed(drawing.side_picture(foot, "tibial")) for foot in ("right", "left"))
    place = [[g.get("transform") for g in picture.iter() if g.get("transform")] for picture in (right, left)]
    neighbour, toe = (int(re.findall(r"\d+", text)[0]) for text in place[0])
    assert neighbour < toe
    neighbour, toe = (int(re.findall(r"\d+", text)[0]) for text in place[1])
    assert neighbour > toe


def dot_x(markup, name):
    return float(by_class(markup, name)[0].get("cx"))


def test_today_stands_inside_at_the_ends_and_outside_of_the_band():
    (band,) = by_class(drawing.window_track(35, 56, 42, 43), "d-band")
    left = float(band.get("x"))
    right = left + float(band.get("width"))
    assert left < dot_x(drawing.window_track(35, 56, 42, 43), "d-dot") < right
    assert dot_x(drawing.window_track(35, 56, 42, 35), "d-dot") == left
    assert dot_x(drawing.window_track(35, 56, 42, 56), "d-dot") == right
    assert dot_x(drawing.window_track(35, 56, 42, 60, "late"), "d-dot-late") > right
    assert dot_x(drawing.window_track(35, 56, 42, 30), "d-dot") < left


def test_a_day_far_away_stays_on_the_line_and_gets_an_arrow():
    far = drawing.window_track(35, 56, 42, 900, "late")
    assert dot_x(far, "d-dot-late") < 240
    assert by_class(far, "d-arrow")
    assert not by_class(drawing.window_track(35, 56, 42, 57), "d-arrow")


def test_the_window_in_words():
    assert parsed(drawing.window_track(35, 56, 42, 43)).get("aria-label") == (
        "Window from day 35 to 56; target day 42; now day 43, inside the window"
    )
    assert "now day 63, 7 after it closed" in drawing.window_track(35, 56, 42, 63, "late")
    assert "now day 30, 5 before it opens" in drawing.window_track(35, 56, 42, 30)


def test_a_window_cannot_be_upside_down():
    with pytest.raises(ValueError, match="close"):
        drawing.window_track(56, 35, 42, 43)
    with pytest.raises(ValueError, match="kind"):
        drawing.window_track(35, 56, 42, 43, "other")


def test_the_time_line_gives_the_first_weeks_room():
    week = drawing.timeline_position(7, 425, 0, 1000)
    assert drawing.timeline_position(0, 425, 0, 1000) == 0
    assert drawing.timeline_position(425, 425, 0, 1000) == 1000
    assert week > 1000 * 7 / 425 * 7


def test_the_time_line_marks_and_words():
    markup = drawing.toe_timeline(
        [
            (0, "surgery"),
            {"day": 9, "kind": "report", "label": "discharge"},
            drawing.Point(14, "visit"),
            (182, "planned"),
        ],
        [(10, 18, "2 weeks"), {"opens": 150, "closes": 214, "label": "6 months"}],
        [(14, 3), (0, 2)],
    )
    # Two variants are drawn, a wide and a narrow one.
    assert len(by_class(markup, "d-square")) == 2
    assert len(by_class(markup, "d-hollow")) == 2
    assert len(by_class(markup, "d-dot-new")) == 2
    assert len(by_class(markup, "d-dot")) == 2
    assert len(by_class(markup, "d-band")) == 4
    label = by_class(markup, "wide")[0].get("aria-label")
    assert label == (
        "Events: surgery day 0, patient report (discharge) day 9, review day 14, planned day 182. "
        "Windows: 2 weeks day 10 to 18, 6 months day 150 to 214. Pain 0 to 10: 2 on day 0, 3 on day 14."
    )
    box = by_class(markup, "toe-line-box")[0]
    assert (box.get("tabindex"), box.get("role")) == ("0", "region")
    assert box.get("aria-label")


def test_a_late_event_stretches_the_scale():
    for kind, width in (("wide", 1080), ("narrow", 720)):
        picture = by_class(drawing.toe_timeline([(0, "surgery"), (900, "visit")]), kind)[0]
        assert all(float(node.get("cx", 0)) < width for node in picture.iter())


def test_text_of_the_narrow_time_line_stays_readable():
    # drawing.css lets it shrink to 680 px and no further
    for node in by_class(drawing.toe_timeline([(0, "surgery")], [(10, 18, "2 weeks")], [(0, 2)]), "narrow")[0].iter():
        if node.get("font-size"):
            assert float(node.get("font-size")) * 680 / 720 >= 12


def test_names_of_close_windows_do_not_touch():
    markup = drawing.toe_timeline([], [(2, 4, "first re-dressing"), (5, 10, "second re-dressing")])
    rows = {node.get("y") for node in by_class(markup, "d-text") if "re-dressing" in (node.text or "")}
    assert len(rows) > 1


def test_the_interval_on_its_axis():
    markup = drawing.interval_strip(0.05, 0.02, 0.10, 0.20, standard=0.05)
    (band,) = by_class(markup, "d-band")
    assert float(band.get("x")) == pytest.approx(8 + 28, abs=0.1)
    assert float(band.get("width")) == pytest.approx(112, abs=0.1)
    assert dot_x(markup, "d-dot") == pytest.approx(8 + 70, abs=0.1)
    assert by_class(markup, "d-standard")[0].get("d").startswith("M78 ")
    assert parsed(markup).get("aria-label") == "5.0%; 95% interval 2.0% to 10.0%; standard 5.0%"


def test_an_interval_beyond_the_axis_ends_in_a_chevron():
    inside = drawing.interval_strip(0.2, 0.1, 0.5, 0.3)
    assert by_class(inside, "d-arrow")
    assert by_class(inside, "d-dot")
    beyond = drawing.interval_strip(0.4, 0.17, 0.69, 0.3)
    assert by_class(beyond, "d-arrow")
    assert not by_class(beyond, "d-dot")
    outside = drawing.interval_strip(0.6, 0.4, 0.7, 0.3)
    assert by_class(outside, "d-arrow")
    assert not by_class(outside, "d-band")
    assert not by_class(drawing.interval_strip(0.2, 0.1, 0.3, 0.3), "d-arrow")


def test_few_toes_are_hollow_and_no_rate_is_said():
    assert by_class(drawing.interval_strip(0.05, 0.01, 0.2, 0.3, hollow=True), "d-hollow")
    assert parsed(drawing.interval_strip(None, None, None, 0.3)).get("aria-label") == "No rate"
    with pytest.raises(ValueError, match="axis"):
        drawing.interval_strip(0.1, 0.1, 0.1, 0)


def test_words_from_outside_are_escaped():
    assert "<b>" not in drawing.toe_timeline([(3, "visit", "<b>x</b>")], [(1, 2, "<b>y</b>")])
    assert '"x"' not in drawing.nail_glyph("right", "tibial", label='"x"')
