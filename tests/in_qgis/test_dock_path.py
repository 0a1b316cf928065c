"""The long section of pipes in the dock: known answers of the sample by clicks, hover, edits, and bad use."""

import pytest
from docks import extent, place, press, settled, until
from qgis.core import QgsApplication, QgsPointXY, QgsProject, QgsRasterLayer

FOOT = 1200 / 3937


@pytest.fixture
def asking(dock, archive):
    """Asked for a long section, with the ground of the sample, the map on main A."""
    QgsProject.instance().addMapLayer(QgsRasterLayer(str(archive.with_name("ground.tif")), "ground"))
    settled(dock)
    dock.path._iface.canvas.setExtent(extent(100, -100, 1900, 1400))
    dock.ask(dock.path)
    return dock


def answered(dock):
    until(lambda: dock.path.path is not None and not dock.path._judge.is_judging, "the long section")
    return dock.path.words


def test_s51_one_click_shows_the_way_to_the_outlet(asking):
    press(asking, 1000, 1160)
    words = answered(asking)
    assert "Long section: Main A (A-1), Main A (A-2)" in words
    assert "15 in below: smaller downstream" not in words, "12 in runs into 15 in"
    under = {tuple(line.split("\t")[:2]): line.split("\t")[2] for line in words.splitlines() if line.count("\t") == 2}
    assert float(under[("Heronmoor Road", "Ossel County")]) == pytest.approx(60.0, abs=3)
    profile = asking.profile.view.profile
    assert profile.station_m[-1] / FOOT == pytest.approx(1160, abs=3), "a click is a whole pixel"
    assert profile.ground_m[0] / FOOT == pytest.approx(699.0, abs=0.02)
    assert "toward the outlet (0.1000 %)" in asking.profile._words.text()
    assert asking.path._band.asGeometry().length() == pytest.approx(1160, abs=3)


def test_two_clicks_show_the_way_between_them(asking):
    asking.path._between.setChecked(True)
    press(asking, 1500, 300)
    assert asking.path.path is None and "other place" in asking.path._text.toPlainText()
    press(asking, 600, 900)
    assert "does not run one way" in answered(asking)
    assert asking.profile.view.profile.station_m[-1] / FOOT == pytest.approx(1500, abs=4)
    press(asking, 1000, 700)
    assert asking.path.path is None, "a third click begins anew"


def test_hover_ties_map_and_section(asking):
    press(asking, 1000, 905)
    answered(asking)
    asking.profile.view.hovered.emit(400 * FOOT)
    marker = asking.path._marker
    assert marker.isVisible() and marker.center().y() == pytest.approx(place(0, 400)[1], abs=1e-3)
    asking.profile.view.hovered.emit(None)
    assert not marker.isVisible()
    asking.path.say_under(QgsPointXY(*place(1001, 250)))
    assert asking.profile.view._at_m / FOOT == pytest.approx(250, abs=0.01)
    asking.path.say_under(QgsPointXY(*place(1400, 275)))
    assert asking.profile.view._at_m is None


def test_the_answer_is_copied_and_cleared(asking):
    press(asking, 1000, 905)
    words = answered(asking)
    asking.path._copy.click()
    assert QgsApplication.clipboard().text() == words
    asking.path._clear.click()
    assert asking.path.path is None and asking.profile.view.profile is None and not asking.path._copy.isEnabled()


def test_an_edit_that_is_not_saved_is_in_the_section(asking):
    press(asking, 1000, 905)
    answered(asking)
    drains, first = asking.session.archive.drains, asking.path.path
    pipe = next(drains.getFeatures("drain_id = 'A-1'"))
    drains.startEditing()
    assert drains.changeAttributeValue(pipe.id(), drains.fields().indexOf("diameter"), 18.0)
    until(lambda: asking.path.path is not None and asking.path.path is not first, "the section after the edit")
    assert asking.profile.view.profile.crown_m[0] - asking.profile.view.profile.invert_m[0] == pytest.approx(0.4572)
    drains.rollBack()


def test_beside_every_pipe_a_sentence(asking):
    press(asking, 150, -80)
    assert asking.path.path is None
    assert "no pipe within reach" in asking.path._iface.said()


def test_two_systems_a_sentence(asking):
    asking.path._iface.canvas.setExtent(extent(100, -100, 5000, 2300))
    asking.path._between.setChecked(True)
    press(asking, 1000, 500)
    press(asking, 4000, 500)
    assert "two systems" in asking.path._iface.said() and asking.path.path is None


def test_at_the_outlet_a_sentence(asking):
    asking.path.ask(QgsPointXY(*place(1000, 0)))
    assert "the outlet itself" in asking.path._iface.said()


def test_without_a_ground_it_is_said(dock):
    dock.path._iface.canvas.setExtent(extent(100, -100, 1900, 1400))
    dock.ask(dock.path)
    press(dock, 1000, 905)
    assert "No ground is known here" in answered(dock)


def test_the_archive_that_goes_takes_the_section_with_it(asking):
    press(asking, 1000, 905)
    answered(asking)
    QgsProject.instance().clear()
    assert asking.path.path is None and asking.profile.view.profile is None
    asking.path.say_under(QgsPointXY(*place(1000, 905)))
    asking.path.ask(QgsPointXY(*place(1000, 905)))
    assert "not read yet" in asking.path._iface.said()


def test_another_question_takes_the_section_below_the_map_over(asking):
    press(asking, 1000, 905)
    answered(asking)
    asking.ask(asking.reroute)
    assert asking.profile.view.profile is None and asking.path.path is None
    asking.ask(asking.path)
    press(asking, 1000, 905)
    assert "Long section: Main A (A-1)" in answered(asking)
