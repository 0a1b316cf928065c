"""What one owner gets to read: his own data, and totals of the others. Figures in feet and acres."""

import builders as b
import pytest
import scenarios
from fallkeeper.plugin.land.notices import Owners
from fallkeeper.plugin.network.trace import place_near
from fallkeeper.plugin.owners.page import owner_page
from fallkeeper.plugin.owners.page_text import page_blocks
from fallkeeper.plugin.owners.private import Private
from fallkeeper.plugin.owners.sums import OwnerSums
from owner_cases import a34, sums_of


def text_of(page):
    return "\n".join(block.html + block.svg for block in page_blocks(page, "Fallkeeper 0"))


def page_of(sums, name, place=None, archive="County"):
    return owner_page(sums, sums.owners.name.tolist().index(name), archive, "2026-01-01", place)


@pytest.fixture(scope="module")
def ossel():
    case = scenarios.case(True, False)
    return OwnerSums(case.county, case.land)


def plug(sums, x=1000, y=905):
    foot = sums.county.units.foot_m
    return place_near(sums.county.network, (x * foot, y * foot), 30.0)


def test_a43_the_figures_of_the_scenario(ossel):
    page = page_of(ossel, "Tarrowick Farm", plug(ossel))
    assert page.sentences == (
        "46.0 acres drain through the place asked about: 5.3 of them yours, 40.7 of them not yours.",)
    figures = dict(page.figures)
    assert figures["Of it to Outlet OA"] == "39.0 of 80.0 acres that drain there (48.8%)"
    assert figures["Of it to Outlet OB"] == "18.0 of 70.0 acres that drain there (25.7%)"
    assert figures["Your land"].endswith("acres in 3 pieces")


@pytest.mark.parametrize("name", ["Tarrowick Farm", "Ebbing Kiln Farm", "Low Sedge Farm", "Meeting hall",
                                  "Ossel County"])
def test_a43_nothing_of_the_others_stands_on_the_page(ossel, name):
    text = text_of(page_of(ossel, name, plug(ossel))).lower()
    assert name.lower() in text
    for other in ("Tarrowick", "Ebbing", "Kiln", "Sedge", "Meeting hall", "Heronmoor", "Hall Lot"):
        mine = {"Ossel County": "heronmoor", "Meeting hall": "meeting hall hall lot"}.get(name, name.lower())
        if other.lower() not in mine:
            assert other.lower() not in text, other


def test_a_lot_shows_pipe_under_it_without_the_neighbours_field(ossel):
    """F2-17 to F2-20 pass under Hall Lot; F2 is a name of T's land."""
    page = page_of(ossel, "Meeting hall")
    assert page.pipes.rows == (("4 laterals", "lateral", "4 in", "corrugated plastic", "800"),)
    assert "F2" not in text_of(page)


def test_only_pipe_under_his_land_is_drawn():
    rows, land = a34()
    sums = sums_of(rows, land)
    page = page_of(sums, "K")
    assert {(row[1], row[4]) for row in page.pipes.rows} == {("main", "1,000"), ("lateral", f"{3 * 871.2:,.0f}")}
    assert len(page.maps) == 1
    figures = dict(page.figures)
    assert figures["Land of others that drains through pipe under yours, at most at one place"] == "1.0 acres"
    assert figures["Pipe not under your land that your water runs through"] == "1,000 ft"


def test_the_place_is_marked_on_his_own_land_only():
    rows, land = a34()
    sums = sums_of(rows, land)
    place = place_near(sums.county.network, (0, 500 * b.FT), 30.0)
    assert "#b3261e" in text_of(page_of(sums, "T", place))
    assert "#b3261e" not in text_of(page_of(sums, "K", place))
    none = page_of(sums, "M", place_near(sums.county.network, (-0.0, 500 * b.FT), 30.0))
    assert "1.0 of them yours, 7.0 of them not yours" in none.sentences[0]


def test_names_that_tell_of_a_neighbour_are_left_out():
    rows, land = a34()
    rows[0]["name"] = "Main of K, call phone of K"
    rows[1]["name"] = "parcel 77"
    land[1]["parcel_no"] = "77"
    page = page_of(sums_of(rows, land), "T", archive="Drains of M and K")
    text = text_of(page)
    assert "phone of" not in text
    assert "77" not in text
    assert "Drains of M" not in text
    assert page.pipes.rows[0][1] == "main", "the pipe itself is shown"


def test_words_of_a_name_tell_too_and_common_words_do_not():
    land = b.land(b.box("1", 0, 0, 1, 1, owner="Ebbing Kiln Farm", contact="ann@kiln.example", name="F3"),
                  b.box("2", 1, 0, 2, 1, owner="Tarrowick Farm", name="F1"))
    private = Private(land, Owners.of(land), 1)
    assert private.tells("old KILN main")
    assert private.tells("F3-12")
    assert private.tells("write to ann@kiln.example")
    assert not private.tells("farm main F31, F1-02")
    assert private.safe("Kiln main", "main") == "main"
    assert private.safe("Main A", "main") == "Main A"


def test_an_owner_without_pipe_gets_a_page_that_says_so():
    rows, land = a34()
    land.append(b.box("far", 20_000, 0, 21_000, 1000, owner="Z"))
    page = page_of(sums_of(rows, land), "Z")
    assert page.pipes.rows == ()
    assert "No pipe is drawn under this land." in text_of(page)
    assert dict(page.figures)["Pipe under it"] == "0 ft"


def test_what_users_write_is_shown_as_text():
    rows, land = a34()
    land[0].update(owner="<b>T & Co</b>", name="<script>")
    sums = sums_of(rows, land)
    text = text_of(page_of(sums, "<b>T & Co</b>"))
    assert "<script>" not in text
    assert "&lt;b&gt;T &amp; Co&lt;/b&gt;" in text


def test_laterals_of_one_size_and_material_are_one_row():
    rows = [b.main("M", (0, 0), (0, 5100))]
    rows += [b.lateral(f"L{k}", (100, 50 * k + 50), (0, 50 * k + 50), diameter=4.0 if k < 60 else 5.0)
             for k in range(100)]
    sums = sums_of(rows, [b.box("F", -50, -50, 500, 6000, owner="T")])
    page = page_of(sums, "T")
    assert [(row[0], row[2], row[4]) for row in page.pipes.rows] == [
        ("M", "not known", "5,100"), ("60 laterals", "4 in", "6,000"), ("40 laterals", "5 in", "4,000"),
    ]
