import re

import numpy as np
import pytest
from fallkeeper.plugin.report.profile import profile_frame, profile_svg
from fallkeeper.plugin.report.profile_data import FIXED, STRUCTURE, CallStretch, Mark, Profile, TreeStretch, call_runs
from fallkeeper.plugin.units import FOOT_M, METRIC, Units
from svg_reading import path_points, shapes, texts

NAN = float("nan")


def a06(**changes):
    """The main of acceptance case A06: reverse between 2+00 and 3+00, falls elsewhere."""
    facts = {
        "title": "Main A",
        "units": Units(),
        "station_m": np.arange(5) * 100 * FOOT_M,
        "ground_m": np.full(5, 99.0) * FOOT_M,
        "invert_m": np.array([95.00, 95.10, 95.25, 95.20, 95.35]) * FOOT_M,
        "invert_error_m": 0.01 * FOOT_M,
        "diameter_m": 1.25 * FOOT_M,
        "least_cover_m": 2 * FOOT_M,
        "calls": (stretch(0, 200, "falls"), stretch(200, 300, "reverse"), stretch(300, 400, "falls")),
    }
    return Profile(**{**facts, **changes})


def stretch(from_ft, to_ft, call):
    return CallStretch(from_ft * FOOT_M, to_ft * FOOT_M, call)


def in_feet(runs):
    return [(round(run.from_m / FOOT_M, 6), round(run.to_m / FOOT_M, 6), run.call) for run in runs]


def lines_of(svg, colour):
    return [path_points(shape) for shape in shapes(svg, "path") if shape.get("stroke") == colour]


def test_known_points_lie_where_the_axes_say():
    profile = a06()
    frame, svg = profile_frame(profile), profile_svg(profile)
    low, high = frame.y(95.20 * FOOT_M), frame.y(95.25 * FOOT_M)
    x2, x3 = (frame.left + share * (frame.right - frame.left) for share in (0.5, 0.75))
    reverse = lines_of(svg, "#a8141b")[0]
    assert np.allclose(reverse, [(x2, high), (x3, low)], atol=0.06)
    (ground,) = lines_of(svg, "#5c3d1e")
    assert np.allclose([y for _, y in ground], frame.y(99.0 * FOOT_M), atol=0.06)
    (cover,) = lines_of(svg, "#2e6b2e")
    assert np.allclose([y for _, y in cover], frame.y(97.0 * FOOT_M), atol=0.06)
    (crown,) = lines_of(svg, "#7a7a7a")
    assert crown[0][1] == pytest.approx(frame.y(96.25 * FOOT_M), abs=0.06)


def test_the_band_holds_95_percent():
    profile = a06()
    assert profile.band_m == pytest.approx(np.full(5, 1.96 * 0.01 * FOOT_M))


def test_exaggeration_is_stated_and_true():
    profile = a06()
    frame = profile_frame(profile)
    stated = float(re.search(r"Vertical exaggeration ([\d,.]+) x", profile_svg(profile)).group(1).replace(",", ""))
    taller = (frame.y(95 * FOOT_M) - frame.y(96 * FOOT_M)) / (frame.x(1 * FOOT_M) - frame.x(0))
    assert stated == pytest.approx(taller, abs=0.5)


def test_axes_name_their_units_and_stations():
    said = texts(profile_svg(a06()))
    assert "Elevation, ft (vertical datum unknown)" in said
    assert "Distance from the outlet, ft (8+50 is 850 ft)" in said
    assert {"0+00", "1+00", "4+00", "95", "99"} <= set(said)
    metric = texts(profile_svg(a06(units=Units(METRIC), vertical_datum="local")))
    assert "Elevation, m (local)" in metric and "Distance from the outlet, m" in metric and "100" in metric


def test_every_call_present_is_in_words_on_the_drawing_and_in_its_own_dash():
    profile = a06(calls=(stretch(0, 100, "falls"), stretch(100, 200, "cannot_tell"), stretch(200, 300, "reverse")))
    svg = profile_svg(profile)
    assert {"falls", "cannot tell", "reverse", "not judged"} <= set(texts(svg))
    dashes = {shape.get("stroke"): shape.get("stroke-dasharray") for shape in shapes(svg, "line")}
    used = [dashes["#0b5c8a"], dashes["#a8141b"], dashes["#7a4b00"], dashes["#333333"]]
    assert used[0] is None and len(set(used)) == 4


def test_unknown_is_a_hatched_gap_even_where_a_call_says_falls():
    profile = a06(invert_m=np.array([95.0, 95.1, NAN, 95.3, 95.4]) * FOOT_M, calls=(stretch(0, 400, "falls"),))
    assert in_feet(call_runs(profile)) == [(0, 100, "falls"), (100, 300, "unknown"), (300, 400, "falls")]
    svg, frame = profile_svg(profile), profile_frame(profile)
    gap = frame.x(100 * FOOT_M), frame.x(300 * FOOT_M)
    for line in lines_of(svg, "#0b5c8a"):
        assert not any(gap[0] + 0.1 < x < gap[1] - 0.1 for x, _ in line)
    (first, *_) = lines_of(svg, "#b5b5b5")
    assert min(x for x, _ in first) >= gap[0] - 0.1 and max(x for x, _ in first) <= gap[1] + 0.1
    assert max(y for _, y in first) - min(y for _, y in first) > 0.9 * (frame.bottom - frame.top)
    assert "unknown" in texts(svg)


def test_nothing_is_called_good_that_no_call_covers():
    assert in_feet(call_runs(a06(calls=()))) == [(0, 400, "not_judged")]
    assert in_feet(call_runs(a06(calls=(stretch(50, 150, "falls"),)))) == [
        (0, 50, "not_judged"), (50, 150, "falls"), (150, 400, "not_judged")]


def test_gaps_of_rounding_between_calls_are_no_stretches():
    calls = (stretch(0, 199.999, "falls"), stretch(200, 399.999, "reverse"))
    assert [run.call for run in call_runs(a06(calls=calls))] == ["falls", "reverse"]


def test_a_narrow_reverse_stretch_still_has_its_word():
    svg = profile_svg(a06(calls=(stretch(0, 204, "falls"), stretch(204, 208, "reverse"), stretch(208, 400, "falls"))))
    assert "reverse" in texts(svg)


def test_names_are_all_shown_or_the_number_left_out_is_said():
    few = tuple(Mark(at * FOOT_M, f"F1-{at}", invert_m=95.5 * FOOT_M) for at in range(50, 400, 10))
    said = texts(profile_svg(a06(marks=few)))
    assert {f"F1-{at}" for at in range(50, 400, 10)} <= set(said)
    many = tuple(Mark(at * FOOT_M, f"F1-{at}") for at in range(0, 400, 2))
    said = texts(profile_svg(a06(marks=many)))
    named = sum(text.startswith("F1-") for text in said)
    assert f"{200 - named} names left out for want of room" in " ".join(said)


def test_places_of_one_station_share_a_name_and_built_things_come_first():
    both = (Mark(100 * FOOT_M, "F1-01"), Mark(100 * FOOT_M, "F2-01"), Mark(0, "Outlet OA", STRUCTURE))
    assert {"F1-01, F2-01", "Outlet OA"} <= set(texts(profile_svg(a06(marks=both))))


def test_trees_and_limits_of_fixed_points_are_drawn():
    svg = profile_svg(a06(trees=(TreeStretch(100 * FOOT_M, 250 * FOOT_M, "cottonwoods"),),
                          marks=(Mark(150 * FOOT_M, "water line", FIXED, least_m=96.9 * FOOT_M),)))
    frame = profile_frame(a06(trees=(TreeStretch(0, 1),), marks=(Mark(150 * FOOT_M, "water line", FIXED),)))
    green = [shape for shape in shapes(svg, "rect") if shape.get("fill") == "#cfe3c4"]
    assert float(green[0]["x"]) == pytest.approx(frame.x(100 * FOOT_M), abs=0.06)
    assert "cottonwoods" in texts(svg) and "fixed point (bar: its limit)" in texts(svg)


def test_no_elevation_at_all_invents_none():
    said = texts(profile_svg(a06(invert_m=np.full(5, NAN), ground_m=np.full(5, NAN))))
    assert "No elevation is known: there is nothing to draw" in said
    assert not any("exaggeration" in text or text.startswith("Elevation") for text in said)
    assert profile_svg(a06(station_m=[], ground_m=[], invert_m=[], calls=()))


def test_type_is_no_smaller_than_11_px_and_names_are_escaped():
    svg = profile_svg(a06(title="<script>alert(1)</script> & co", marks=(Mark(0, 'x"><b>'),)))
    assert "<script" not in svg and "<b>" not in svg
    sizes = [float(size) for size in re.findall(r'font-size="([\d.]+)"', svg)]
    assert min(sizes) >= 11


def test_the_drawing_needs_nothing_from_outside_and_says_itself_in_words():
    svg = profile_svg(a06())
    assert svg.count("http") == 1 and "xlink" not in svg and 'id="' not in svg
    assert "reverse from 2+00 to 3+00" in svg


def test_arrays_of_different_length_are_refused():
    with pytest.raises(ValueError, match="differ in number"):
        a06(ground_m=np.zeros(4))
