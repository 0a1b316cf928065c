"""What is accepted: as proposed, by key, by class, by the decisions somebody wrote."""

import builders as b
import layouts
import pytest
from fallkeeper.plugin.compare.decide import DecisionError, decide
from fallkeeper.plugin.compare.given import Layout

MAIN = b.main("M", (0, 0), (0, 300))
OUTLET = [b.outlet(0, 0)]


@pytest.fixture(scope="module")
def f7():
    return layouts.compare_f7()


def done(compared, chosen):
    return {key: what for key, what in zip(compared.layout.drains.drain_id.tolist(), chosen.done.tolist()) if what}


def test_nothing_said_takes_what_is_proposed(f7):
    assert done(f7, decide(f7)) == dict.fromkeys(layouts.CLEAN, "take")


def test_by_key_and_by_class(f7):
    assert done(f7, decide(f7, keys=["N8", "F7-05"])) == {"N8": "take", "F7-05": "replace"}
    assert done(f7, decide(f7, classes=["crossing", "near-duplicate"])) == {"N9": "take", "N7": "replace"}


def test_a_name_that_one_line_has_alone_stands_for_its_key():
    layout = [b.main("N", (0, 100), (300, 100), name="north"), b.lateral("L", (200, 100), (200, 400), name="short"),
              b.lateral("K", (250, 100), (250, 400), name="short")]
    compared = layouts.compare([MAIN], layout, OUTLET)
    assert done(compared, decide(compared, keys=["north", "L"])) == {"N": "take", "L": "take"}
    with pytest.raises(DecisionError, match="no line 'short'"):
        decide(compared, keys=["short"])


def test_lines_with_made_up_keys_get_something_to_read():
    made_up = "a699cb4b-d805-4f5c-b276-306e3aaee07b"
    lines = b.drains(b.lateral("7", (0, 0), (0, 9)), b.lateral(made_up, (1, 0), (1, 9)),
                     b.lateral(made_up.upper().replace("A", "B"), (2, 0), (2, 9), name="Old clay"))
    named = Layout.of_lines(lines).with_names().drains
    assert named.name.tolist() == ["7", "line 2", "Old clay"]
    assert named.drain_id.tolist() == lines.drain_id.tolist()
    assert lines.name[1] == made_up
    assert len(Layout.of_lines(b.drains()).with_names().drains) == 0


def test_by_actions(f7):
    actions = {"N1": "take", "N2": "ask", "N7": "take", "N8": "keep"}
    assert done(f7, decide(f7, actions=actions)) == {"N1": "take", "N7": "take"}
    assert done(f7, decide(f7, actions={})) == {}


def test_joints_are_taken_on_a_word():
    layout = [b.main("N", (0.5, 100), (300, 100)), b.lateral("L", (200, 100), (200, 400))]
    compared = layouts.compare([MAIN], layout, OUTLET)
    assert done(compared, decide(compared)) == {}
    compared = layouts.compare([MAIN], layout, OUTLET, accept=True)
    assert done(compared, decide(compared)) == {"N": "join", "L": "take"}
    assert compared.proposed_change.length_m / b.FT == pytest.approx(599.5)
    joint = b.structure("J", "joint", 0, 100, evidence="seen")
    compared = layouts.compare([MAIN], layout, [*OUTLET, joint], accept=True)
    assert done(compared, decide(compared)) == {"N": "take", "L": "take"}


@pytest.mark.parametrize(("asked", "words"), [
    ({"keys": ["N99"]}, "no line 'N99'"),
    ({"classes": ["nonsense"]}, "no class 'nonsense'; there are bad-geometry"),
    ({"actions": {"N1": "maybe"}}, "The action 'maybe' is not known: write take, join, replace, keep or ask."),
    ({"actions": {"N99": "take"}}, "no line 'N99'"),
    ({"actions": {"F7-05": "take"}}, "has a drain with the key of line 'F7-05'"),
    ({"actions": {"N1": "replace"}}, "'N1' stands for no single drain"),
])  # fmt: skip
def test_what_cannot_be_is_refused_in_a_sentence(f7, asked, words):
    with pytest.raises(DecisionError) as refused:
        decide(f7, **asked)
    assert words in str(refused.value)


@pytest.mark.parametrize(("rows", "asked", "words"), [
    ([b.lateral("L", (0, 100), (9, 100)), b.lateral("L", (0, 200), (9, 200))], {"actions": {"L": "take"}},
     "The key 'L' is used twice"),
    ([b.pipe("L", (0, 100), (300, 100))], {"keys": ["L"]}, "Nobody says what it does in its system"),
    ([b.pipe("L", (0, 100), (300, 100))], {"actions": {"L": "take"}}, "'L' has no role"),
    ([b.lateral("L", (0, 100), (0, 100))], {"actions": {"L": "take"}}, "is no line in one part"),
])  # fmt: skip
def test_what_the_archive_could_not_hold(rows, asked, words):
    compared = layouts.compare([MAIN], rows, OUTLET)
    with pytest.raises(DecisionError) as refused:
        decide(compared, **asked)
    assert words in str(refused.value)


def test_of_two_lines_beside_one_drain_only_that_with_its_key_redraws_it():
    archive = [MAIN, b.lateral("A", (0, 100), (300, 100))]
    layout = [b.lateral("A", (0, 104), (300, 104)), b.lateral(None, (0, 96), (300, 96))]
    compared = layouts.compare(archive, layout, OUTLET)
    assert compared.redraws.tolist() == [1, -1]
    assert done(compared, decide(compared, classes=["other-shape", "near-duplicate"])) == {
        "A": "replace", "line 1": "take",
    }


def test_the_classes_of_the_dialog_are_those_of_the_engine():
    from fallkeeper.plugin.compare.classes import CLASS_IDS
    from fallkeeper.processing_algs.line_classes import LINE_CLASSES

    assert LINE_CLASSES == CLASS_IDS
