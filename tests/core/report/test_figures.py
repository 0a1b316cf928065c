import builders
import numpy as np
import pytest
from fallkeeper.plugin.checks.case import Case
from fallkeeper.plugin.checks.declare import Places, Stretches
from fallkeeper.plugin.checks.run import run_checks
from fallkeeper.plugin.county import County
from fallkeeper.plugin.limits import Limits
from fallkeeper.plugin.network.build import build_network
from fallkeeper.plugin.report.figures import finding_figures, line_profile
from fallkeeper.plugin.report.profile_data import call_runs
from fallkeeper.plugin.units import Units
from report_samples import FT, check
from svg_reading import texts


def a06():
    """The main of acceptance case A06 with shots, and a lateral that joins at 2+00 without any elevation."""
    inverts = {0: 95.00, 100: 95.10, 200: 95.25, 300: 95.20, 400: 95.35}
    drains = builders.drains(
        builders.main("M", (0, 0), (0, 400), name="Main A", diameter=10),
        builders.lateral("L", (300, 200), (0, 200), name="F1-01"),
    )
    shots = builders.shots(*(builders.shot(f"S{y}", 0, y, z, error=0.01) for y, z in inverts.items()))
    outlet = builders.structures(builders.outlet(0, 0, name="Outlet OA"))
    land = builders.land(builders.box("F1", -10, 0, 500, 400, owner="Low Sedge Farm", name="F1"))
    return Case(County(build_network(drains, outlet, shots), Limits(), Units()), land=land)


def figures_of(*said, **declared):
    case = a06()
    one = check(function=lambda case: iter(said), **declared)
    return finding_figures(run_checks(case, [one]).findings, case)[one.id]


def stretch(line=0):
    from_m, to_m = np.array([200 * FT]), np.array([300 * FT])
    return Stretches(np.array([line]), from_m, to_m, call="reverse", detail="rises 0.05 ft")


def test_the_long_section_has_the_inverts_calls_and_joints_of_the_line():
    profile = line_profile(a06(), 0)
    assert np.interp([200 * FT, 300 * FT], profile.station_m, profile.invert_m) / FT == pytest.approx([95.25, 95.20])
    runs = [(round(run.from_m / FT), round(run.to_m / FT), run.call) for run in call_runs(profile)]
    assert runs == [(0, 200, "falls"), (200, 300, "reverse"), (300, 400, "falls")]
    joint, outlet = profile.marks
    assert joint.name == "F1-01" and joint.at_m == pytest.approx(200 * FT) and np.isnan(joint.invert_m)
    assert outlet.name == "Outlet OA" and outlet.at_m == pytest.approx(0)
    assert profile.flows_to_low_station is True


def test_a_line_without_elevation_is_unknown_all_the_way():
    profile = line_profile(a06(), 1)
    assert [run.call for run in call_runs(profile)] == ["unknown"]
    assert profile.flows_to_low_station is False


def test_checks_of_height_get_a_long_section_and_others_a_map_only():
    section, small = figures_of(stretch(), id="reverse-grade")
    assert section.wide and not small.wide
    assert "Long section of Main A" in texts(section.svg) and "Main A, 2+00 to 3+00" in texts(small.svg)
    assert small.caption == "rises 0.05 ft"
    assert [figure.wide for figure in figures_of(stretch(), id="near-trees")] == [False]


def test_maps_are_of_the_worst_and_few():
    many = Stretches(np.zeros(9, dtype=int), np.arange(9.0) * 9, np.arange(9.0) * 9 + 5, value=np.arange(9.0))
    small = figures_of(many, worst="max")
    assert len(small) == 2 and "Main A, 2+36.2 to 2+52.6" in texts(small[0].svg)


def test_places_on_no_drain_are_mapped_and_places_without_any_are_left_out():
    nowhere, here = np.array([[np.nan, np.nan]]), np.array([[10.0, 20.0]])
    none = np.array([-1])
    assert len(figures_of(Places(none, none, here))) == 1
    assert not figures_of(Places(none, none, nowhere))


def test_maps_never_name_owners():
    (small,) = figures_of(stretch(), id="near-trees")
    assert "Low Sedge" not in small.svg
