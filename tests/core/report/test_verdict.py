import pytest
from fallkeeper.plugin.checks.declare import Severity
from fallkeeper.plugin.report.content import Row
from fallkeeper.plugin.report.verdict import NOTHING_FOUND, check_verdict, reroute_verdict
from report_samples import check, group


def test_many_drains_waiting_for_joints_come_before_every_finding():
    said = check_verdict((group(),), 20000, without_outlet=12950, waiting_for_joints=12700, missed=1)
    assert said[0].startswith("12,700 of 20,000 drains reach no outlet until the proposed joints are accepted")
    assert "The other 250 drains would still have none." in said[0]
    assert "ACCEPT_PROPOSED" in said[1] and "Not checked, and why" in said[2]


def test_a_few_waiting_drains_do_not_hide_the_worst_finding():
    said = check_verdict((group(total=412),), 20000, without_outlet=100, waiting_for_joints=50)
    assert "joints" not in said[0]
    assert said[0] == (
        "412 findings, 412 of them serious. Worst: Pipe rises downstream (412 findings on 1 drain, first at Main A)."
    )
    assert said[1] == "What to do first: Shoot both ends."


def test_nothing_found_is_not_called_well_and_crashed_checks_are_told():
    assert check_verdict((), 40) == (NOTHING_FOUND,)
    said = check_verdict((), 40, crashed=2)
    assert said == (NOTHING_FOUND, "2 checks broke off: this page is not complete.")


def test_no_drain_read_says_that_nothing_was_checked():
    assert "nothing was checked" in check_verdict((), 0)[0]


def test_a_place_on_no_drain_has_no_name_to_tell():
    found = group(check=check(title="Outlet lies on no pipe"), rows=(Row("", "", Severity.DOUBT, "found"),))
    assert "first at" not in check_verdict((found,), 3)[0]


@pytest.mark.parametrize(
    ("call", "p", "words"),
    [
        ("falls", 0.0002, "The pipe falls all the way: the chance that it runs backwards somewhere is under 0.1 %."),
        ("reverse", 0.998, "runs backwards: the chance that it runs backwards somewhere is 99.8 %. Do not lay it"),
        ("cannot_tell", 0.606, "Cannot tell whether the pipe falls: the chance that it runs backwards somewhere is"),
        ("unknown", float("nan"), "Unknown does not mean good."),
        ("a new call", 0.0, "Unknown whether the pipe falls"),
    ],
)
def test_reroute_in_words(call, p, words):
    assert words in reroute_verdict(call, p)
