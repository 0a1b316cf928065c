"""The two reroutes of the sample county, worked out by hand: scenario 5.6 and 5.7, acceptance A07, A20, A32."""

import numpy as np
import pytest
from reroutes import R1, R2, judged, of, sample_county


@pytest.fixture(scope="module")
def r1():
    return judged(sample_county(), R1, invert_error=0.03, least_grade=0.05, diameter=15, openings="perforated")


@pytest.fixture(scope="module")
def r2():
    return judged(sample_county(), R2, invert_error=0.03)


def test_r1_falls_with_the_grade_of_the_longer_way(r1):
    assert r1.verdict == "falls"
    assert (r1.fall, r1.grade) == pytest.approx((0.350, 0.0636), abs=5e-5)
    assert r1.p_reverse < 1e-9


def test_r1_is_likely_to_have_the_least_grade(r1):
    assert r1.p_least == pytest.approx(0.961, abs=0.002)
    assert not of(r1, "flat-grade")


def test_r1_is_too_flat_for_a_tenth_of_a_percent():
    flat, = of(judged(sample_county(), R1, invert_error=0.03, least_grade=0.10), "flat-grade")
    assert (flat["value"], flat["limit"], flat["unit"]) == (pytest.approx(0.0636, abs=5e-5), pytest.approx(0.10), "%")
    assert flat["call"] == "found" and "0.200 ft less fall than" in flat["detail"]


@pytest.mark.parametrize(
    ("station", "place", "ground", "invert", "cut"),
    [
        (0, (1000, 725), 699.725, 696.325, 3.400),
        (100, (900, 725), 699.825, 696.389, 3.436),
        (450, (900, 1075), 700.175, 696.611, 3.564),
        (550, (1000, 1075), 700.075, 696.675, 3.400),
    ],
)
def test_r1_stations(r1, station, place, ground, invert, cut):
    (row, xy), = [(row, xy) for row, xy in zip(r1.stations, r1.station_xy) if abs(row["station"] - station) < 0.01]
    assert (row["ground"], row["invert"], row["cut"]) == pytest.approx((ground, invert, cut), abs=0.0006)
    assert row["cover"] == pytest.approx(row["cut"] - 1.25, abs=1e-4)
    assert tuple(xy) == pytest.approx(place, abs=1e-3)
    assert row["note"]


def test_r1_has_stations_every_50_ft_and_what_is_there(r1):
    assert {round(row["station"], 3) for row in r1.stations} >= {50.0 * k for k in range(12)}
    notes = {row["label"]: row["note"] for row in r1.stations}
    assert notes["1+25"] == "crosses F1-14" and notes["4+50"] == "bend" and notes["0+50"] is None
    assert "7+25" in notes["0+00"] and "10+75" in notes["5+50"]


def test_r1_runs_within_root_distance_at_its_upper_end(r1):
    own, lower, upper = of(r1, "near-trees")
    assert own["drain_id"] == "New pipe" and own["call"] == "found"
    assert (own["station_from"], own["station_to"]) == pytest.approx((486.1, 550.0), abs=0.1)
    assert own["value"] == pytest.approx(38.1, abs=0.1) and own["limit"] == pytest.approx(100)
    assert "63.9 ft of the new pipe, 12.7 ft of it within 50 ft" in own["detail"]
    kept = sum(row["station_to"] - row["station_from"] for row in (lower, upper))
    assert kept == pytest.approx(78.7, abs=0.1)
    assert {row["drain_id"] for row in (lower, upper)} == {"A-1", "A-2"}
    assert (lower["station_from"], lower["station_to"]) == pytest.approx((1075, 1130), abs=0.1)
    assert "78.7 ft that begin at the tie-in" in lower["detail"]


def test_r1_crosses_seven_laterals_that_may_enter(r1):
    crossed = of(r1, "crossing-not-joined")
    assert [row["drain_id"] for row in crossed] == [f"F1-{k}" for k in range(14, 21)]
    assert [row["value"] for row in crossed] == pytest.approx(np.linspace(0.5455, 0.6545, 7), abs=1e-4)
    assert {row["severity"] for row in crossed} == {"note"}
    assert all("may enter" in row["detail"] for row in crossed)
    middle = [(row["station_from"] + row["station_to"]) / 2 for row in crossed]
    assert middle == pytest.approx([771.2] * 7, abs=0.1)


def test_r1_has_nothing_serious(r1):
    assert {row["severity"] for row in r1.findings} == {"note", "doubt"}
    assert not r1.why


def test_r2_runs_backwards_whatever_the_ground_does(r2):
    assert r2.verdict == "reverse"
    assert (r2.fall, r2.grade) == pytest.approx((-0.125, -0.0258), abs=6e-5)
    assert r2.p_reverse == pytest.approx(0.998, abs=0.002)
    assert r2.ground_fall == pytest.approx(0.375, abs=1e-4)
    row, = of(r2, "reverse-grade")
    assert (row["call"], row["severity"], row["value"]) == ("reverse", "serious", pytest.approx(-0.0258, abs=6e-5))
    assert (row["station_from"], row["station_to"]) == pytest.approx((0, 485.41), abs=0.01)


def test_r2_by_lidar_alone_cannot_be_told():
    found = judged(sample_county(), R2, invert_error=0.33)
    assert found.verdict == "cannot_tell" and found.p_reverse == pytest.approx(0.606, abs=0.002)
    row, = of(found, "reverse-grade")
    assert (row["call"], row["severity"]) == ("cannot_tell", "doubt")
    assert "Two level shots would decide it" in row["detail"] and "each within 0.05" in row["detail"]


def test_r2_leads_a_main_into_a_lateral(r2):
    row, = of(r2, "smaller-downstream")
    assert (row["drain_id"], row["value"], row["limit"], row["unit"]) == ("F1-11", 4, 15, "in")
    assert row["detail"].startswith("4 in is smaller than the pipe it takes the water from")
    assert (row["station_from"], row["station_to"]) == pytest.approx((771.2, 871.2), abs=0.1)
    assert row["severity"] == "serious"


def test_r2_doubts_the_lateral_it_barely_passes_below(r2):
    crossed = {row["drain_id"]: row for row in of(r2, "crossing-not-joined")}
    assert set(crossed) == {f"F1-{k}" for k in range(12, 21)}
    # 0.0526 ft above, with errors of 0.03 and about 0.03 ft
    assert (crossed["F1-12"]["call"], crossed["F1-12"]["severity"]) == ("cannot_tell", "doubt")
    assert crossed["F1-12"]["value"] == pytest.approx(0.0526, abs=1e-4)


def test_r2_without_a_size_says_what_it_could_not_check(r2):
    assert set(r2.why) == {"smaller-downstream", "flat-grade", "shallow-cover"}
    assert all("give DIAMETER" in why for reasons in r2.why.values() for why in reasons)
    trees = [row for row in of(r2, "near-trees") if row["drain_id"] == "New pipe"]
    assert [row["call"] for row in trees] == ["cannot_tell"]  # nobody said what openings it will have
