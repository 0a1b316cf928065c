"""Coordinates that cannot be right are told, with the reading by which they would be."""

import numpy as np
import pytest
from fallkeeper.plugin.importing.places import Reading, Whereabouts
from import_sources import asked, lines, plan_of, source_layer, taken, told

BOX = (2_100_000.0, 800_000.0, 2_105_000.0, 802_200.0)
SWAPPED = Reading("with x and y swapped", "say SWAP_AXES.", lambda xy: xy[:, ::-1])
FEET = Reading("in feet", "say COORDINATE_UNIT = ft.", lambda xy: xy / 0.3048)
ARCHIVE = Whereabouts(BOX, "the archive's land and drains", 10_000.0, (SWAPPED, FEET))


def plan(*runs, where=ARCHIVE):
    return plan_of(source_layer(shapes=lines(*runs), role=["main"] * len(runs)), where=[where])


def at(x, y):
    return [(x, y), (x + 100, y)]


def reasons(made):
    return [str(words) for issue in made.issues for words in issue.detail]


def test_places_among_the_land_are_taken():
    made = plan(at(2_100_100, 800_100), at(2_104_000, 802_000), at(2_130_000, 800_000))
    assert told(made) == {}
    assert not any(row["doubtful"] for row in taken(made)), "5 miles off is still near"


def test_swapped_axes_and_metres_for_feet_are_named():
    made = plan(*[(at(y, x)[0], at(y, x)[1][::1]) for x, y in [(2_100_100, 800_100), (2_100_300, 800_200)]])
    assert told(made) == {"wrong-place": [1, 2]}
    assert reasons(made)[0] == ("It lies outside the archive's land and drains. Read with x and y swapped, it would "
                                "lie there: say SWAP_AXES.")
    made = plan(at(2_100_100 * 0.3048, 800_100 * 0.3048))
    assert "Read in feet" in reasons(made)[0]
    assert [row["doubtful"] for row in taken(made)] == [True]


def test_a_few_rows_far_off_are_told_with_their_distance():
    made = plan(at(2_100_100, 800_100), at(0, 0), at(2_100_100, 900_100))
    assert told(made)["far-away"] == [2, 3]
    assert reasons(made) == ["It lies 426 miles from the archive's land and drains.",
                             "It lies 19 miles from the archive's land and drains."]


def test_without_anything_known_only_what_lies_apart_is_doubtful():
    runs = [at(2_100_000 + 100 * k, 800_000) for k in range(5)]
    made = plan(*runs, at(0, 0), where=Whereabouts())
    assert told(made) == {"far-away": [6]}
    assert reasons(made) == ["It lies far from the rest of the file."]


def test_a_file_without_crs_is_asked_about_and_doubtful_as_a_whole():
    made = plan(at(0, 0), where=Whereabouts(crs_asked="In which CRS was it drawn?",
                                            crs_meanwhile="that of the archive"))
    assert (asked(made), told(made)) == (["CRS"], {"no-crs": [1]})
    assert made.questions[0].meanwhile == "that of the archive"


def test_another_foot_is_doubtful_as_a_whole():
    made = plan(at(2_100_100, 800_100), where=Whereabouts(foot="4 ft apart."))
    assert told(made) == {"other-foot": [1]}
    assert reasons(made) == ["4 ft apart."]


def test_a_place_the_crs_does_not_have():
    layer = source_layer(shapes=[None, *lines(at(2_100_100, 800_100))], role=["main", "main"])
    object.__setattr__(layer, "drawn", np.array(lines([(500, 95), (600, 95)], at(0, 0)), dtype=object))
    made = plan_of(layer, where=[ARCHIVE])
    assert told(made) == {"no-such-place": [1]}


@pytest.mark.parametrize("shape", [None, "LINESTRING EMPTY"])
def test_rows_without_a_place_are_not_called_far(shape):
    made = plan_of(source_layer(shapes=[shape], role=["main"]), where=[ARCHIVE])
    assert told(made) == {"no-place": [1]}
