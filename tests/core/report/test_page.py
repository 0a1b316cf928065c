import re
from html.parser import HTMLParser

import numpy as np
import pytest
from fallkeeper.plugin.checks.case import Case
from fallkeeper.plugin.checks.catalogue import CHECKS
from fallkeeper.plugin.checks.declare import Severity
from fallkeeper.plugin.checks.run import run_checks
from fallkeeper.plugin.limits import Limits
from fallkeeper.plugin.report.assemble import report_content
from fallkeeper.plugin.report.cautions import CAUTIONS, NOT_IN_THIS_VERSION
from fallkeeper.plugin.report.content import Broken, Missed, Row
from fallkeeper.plugin.report.page import render_report, render_reroute
from fallkeeper.plugin.units import METRIC, Units
from report_samples import FT, check, content, county_of_two, facts, figure, group, reroute

VOID = {"meta", "path", "line", "rect", "circle", "br"}


class Page(HTMLParser):
    """Checks that tags close in order and collects them; texts by the tag they stand in."""

    def __init__(self, html):
        super().__init__()
        self.open, self.tags, self.attributes, self.said = [], [], [], []
        self.feed(html)
        self.close()
        assert not self.open, self.open

    def handle_starttag(self, tag, attributes):
        self.tags.append(tag)
        self.attributes.append((tag, dict(attributes)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attributes):
        self.tags.append(tag)
        self.attributes.append((tag, dict(attributes)))

    def handle_endtag(self, tag):
        assert self.open and self.open.pop() == tag, (tag, self.open)

    def handle_data(self, data):
        self.said.append((self.open[-1] if self.open else "", data))

    def texts(self, *tags):
        return [text.strip() for tag, text in self.said if tag in tags and text.strip()]

    @property
    def words(self):
        return " ".join(text for tag, text in self.said if tag not in ("style", "title", "desc"))


def page(**changes):
    return Page(render_report(content(**changes)))


def test_the_page_is_well_formed_and_stands_alone():
    html = render_report(content(groups=(group(figures=(figure(wide=True), figure())),)))
    shown = Page(html)
    assert html.startswith("<!DOCTYPE html>") and 'charset="utf-8"' in html and '<html lang="en">' in html
    assert "script" not in shown.tags and "link" not in shown.tags and "img" not in shown.tags
    assert set(re.findall(r'https?://[^"\s]+', html)) == {"http://www.w3.org/2000/svg"}  # a name, nothing is fetched
    assert "url(" not in html and "@import" not in html


def test_sections_come_in_the_order_of_use():
    assert page().texts("h2") == [
        "In short", "Findings, worst first", "Not checked, and why", "Before you act on this page", "Data and limits"]
    crashed = page(crashed=(Broken("Sag", "ValueError: shapes differ"),))
    assert "Checks that broke off" in crashed.texts("h2") and "ValueError: shapes differ" in crashed.words
    assert "No check lacked data, but some broke off" in crashed.words and "could be made on every" not in crashed.words


def test_names_from_the_layer_cannot_become_markup():
    evil = "<script>alert(1)</script>"
    row = Row(evil, evil + "2", Severity.SERIOUS, "found", 0.0, 10.0, detail=f"to {evil}")
    html = render_report(
        content(
            facts=facts(title=evil, crs=evil, filters=(evil,), more=((evil, evil),)),
            verdict=(evil,),
            groups=(group(rows=(row,), check=check(title=evil, remedy=evil)),),
            not_checked=(Missed(evil, evil, 1, (evil,)),),
            crashed=(Broken(evil, evil),),
        )
    )
    assert "<script" not in html and html.count("&lt;script&gt;") > 10
    Page(html)


def test_a_long_group_says_how_many_more_and_where():
    assert "Shown 1 of 412, all in the layer LINE_FINDINGS." in page(groups=(group(total=412),)).words
    both = group(total=412, layers=("LINE_FINDINGS", "POINT_FINDINGS"))
    assert "all in the layers LINE_FINDINGS and POINT_FINDINGS." in page(groups=(both,)).words
    assert "All 1 shown; also in the layer LINE_FINDINGS." in page(groups=(group(),)).words


def test_nothing_found_is_never_called_well():
    shown = page(groups=(), verdict=("Nothing was found in what was checked.",))
    assert "Nothing was found in what was checked. That is no proof that the drains work." in shown.words
    assert not re.search(r"\b(all is well|all good|no problems|everything is fine)\b", shown.words, re.IGNORECASE)


def test_a_finding_shows_value_limit_and_probability_with_units():
    words = page().words
    for shown in ("9+00 to 10+00", "\u22120.250 %", "0.000 %", "over 99.9 %", "reverse", "rises 0.25 ft"):
        assert shown in words
    metric = page(facts=facts(units=Units(METRIC))).words
    assert "274.3 m to 304.8 m" in metric


def test_unknown_is_a_dash_and_columns_without_values_are_left_out():
    rows = (Row("F1", "F1", Severity.DOUBT, "found", 0.0, 0.0, value=1.0 * FT),
            Row("F2", "F2", Severity.DOUBT, "found", 0.0, 0.0))
    shown = page(groups=(group(rows=rows, check=check(kind="length")),))
    assert "1.00 ft" in shown.words and "\u2013" in shown.texts("td") and "nan" not in shown.words.lower()
    assert "Probability" not in shown.texts("th") and "Call" not in shown.texts("th")


def test_each_check_says_what_to_do_when_it_is_wrong_and_by_which_limit():
    limit = Limits().of("outlet_above_water")
    words = page(groups=(group(limits=(limit,)),)).words
    for shown in ("Shoot both ends.", "Heights of two surveys.", "0.1 m = 0.33 ft", limit.shown_source):
        assert shown in words


def test_what_was_not_checked_is_told_with_its_reason_also_what_this_version_cannot():
    some, whole = Missed("Outlet is low", "No ditch level.", 12, ("OA", "OB")), Missed("Lots", "No land.")
    words = page(not_checked=(some, whole)).words
    for shown in ("No ditch level.", "OA, OB and 10 more", "No land.", "Load and size", "What is left behind"):
        assert shown in words


def test_the_cautions_name_their_figures():
    words = page().words
    trench = ("29 CFR 1926 Subpart P", "within 25 ft from 4 ft", "2 ft back", "from 5 ft", "above 20 ft")
    for shown in (*trench, "Locate buried", "road authority", "written permission", "7 CFR 12.33", "licensed"):
        assert shown in words


def test_the_data_say_what_they_are_and_what_was_not_seen():
    words = page(facts=facts(filters=("412 lines were not seen because only the selection was used.",))).words
    for shown in ("412 lines were not seen", "unknown: elevations may not", "EPSG:3734", "2026-03-04", "0.1.0"):
        assert shown in words
    assert "NAVD 88" in page(facts=facts(vertical_datum="NAVD 88")).words


def test_it_can_be_read_aloud():
    shown = Page(render_report(content(groups=(group(figures=(figure(),)), group(check=check(id="second"))))))
    assert all(attributes.get("scope") == "col" for tag, attributes in shown.attributes if tag == "th")
    drawings = [attributes for tag, attributes in shown.attributes if tag == "svg"]
    assert drawings and all(one["role"] == "img" and one["aria-label"] for one in drawings)
    assert shown.tags.count("h1") == 1
    links = {attributes["href"][1:] for tag, attributes in shown.attributes if tag == "a"}
    assert links == {attributes["id"] for tag, attributes in shown.attributes if tag == "article"}


def test_from_the_results_of_a_run():
    case = Case(county_of_two())
    shown = Page(render_report(report_content(run_checks(case, CHECKS), case, facts(), {})))
    assert shown.texts("h2")[0] == "In short" and f"{len(CHECKS)} checks made" in shown.words


def test_a_reroute_shows_verdict_profile_and_what_was_not_checked():
    shown = Page(render_reroute(reroute()))
    assert shown.texts("h2") == [
        "In short", "Profile", "Stations", "What it crosses and ties in to", "Trees",
        "Left behind if the old run is taken out", "Cover", "Not checked, and why", "Before you act on this page",
        "Data and limits"]
    assert "Cannot tell whether the pipe falls" in shown.words and "60.6 %" in shown.words
    for said in ("F1-14", "No tree within root distance.", "Load and size", "What is left behind", "29 CFR 1926"):
        assert said in shown.words
    assert "svg" in shown.tags


def test_a_reroute_lists_findings_where_there_are_any():
    assert "Pipe rises downstream" in Page(render_reroute(reroute(groups=(group(),)))).words


@pytest.mark.parametrize("call", ["falls", "reverse", "cannot_tell", "unknown"])
def test_every_reroute_verdict_is_a_page(call):
    Page(render_reroute(reroute(call=call, p_reverse=np.nan)))


def test_cautions_are_short():
    assert all(len(one.text) < 480 for one in CAUTIONS)


def test_what_this_version_cannot_check_is_named():
    named = [one.title.split(":")[0] for one in NOT_IN_THIS_VERSION]
    assert "Load and size" in named and "What is left behind" in named
