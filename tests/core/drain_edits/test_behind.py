"""Lines that were turned, cut or moved without their figures are noticed, whatever is undone and done again."""

from fallkeeper.plugin.drain_edits.behind import CUT, MOVED, TURNED, Watch, in_order
from fallkeeper.plugin.drain_edits.drawn import Drawn
from fallkeeper.plugin.drain_edits.flip import flipped
from fallkeeper.plugin.drain_edits.words import behind_words, change_words

A, B, C = (0.0, 0.0), (50.0, 0.0), (200.0, 0.0)


def drawn(*places, key="K", start=100.0, end=99.8, **row):
    return Drawn(places, {"drain_id": key, "name": None, "invert_start": start, "invert_end": end,
                          "depth_start": None, "depth_end": None, **row})


WHOLE = drawn(A, C)
TURN = Drawn((C, A), WHOLE.row)


def watch(before, **now):
    made = Watch(0.01)
    made.follow(before, {int(number[1:]): one for number, one in now.items()})
    return made


def told(made):
    return [(one.number, one.how, one.columns) for one in made.behind()]


def said(made):
    return behind_words(made.behind(), 1.0, "ft")


def test_turned():
    made = watch({1: WHOLE}, n1=TURN)
    assert told(made) == [(1, TURNED, {"invert_start": 200.0, "invert_end": 200.0})]
    assert said(made) == "drain K was turned, its inverts were not."
    assert told(watch({1: WHOLE}, n1=flipped(WHOLE))) == []
    assert told(watch({1: drawn(A, C, end=100.0)}, n1=drawn(C, A, end=100.0))) == []
    assert told(watch({1: drawn(A, C, start=None, end=None)}, n1=drawn(C, A, start=None, end=None))) == []
    assert told(watch({1: drawn(A, C, start=None)}, n1=drawn(C, A, start=None))) == [(1, TURNED, {"invert_end": 200.0})]


def test_undone_redone_mended_and_the_mend_undone():
    made = watch({1: WHOLE}, n1=TURN)
    made.follow({}, {1: WHOLE})
    assert told(made) == [] and said(made) == ""
    made.follow({}, {1: TURN})
    assert [one.how for one in made.behind()] == [TURNED]
    made.follow({}, {1: flipped(WHOLE)})
    assert told(made) == []
    made.follow({}, {1: TURN})
    assert [one.how for one in made.behind()] == [TURNED]
    made.follow({}, {1: WHOLE})
    assert told(made) == []
    made.follow({}, {1: None})
    assert told(made) == []


def test_moved_by_more_than_nothing():
    assert told(watch({1: WHOLE}, n1=drawn(A, (200.009, 0.0)))) == []
    made = watch({1: WHOLE}, n1=drawn(A, (50.0, 20.0), (200.0, 12.5)))
    assert told(made) == [(1, MOVED, {"invert_end": 12.5})]
    assert said(made) == "drain K was moved at its end by 12.5 ft: inverts there may be stale."
    made.follow({}, {1: drawn(A, (200.0, 12.5), end=99.7)})
    assert told(made) == []
    made.follow({}, {1: drawn(A, (200.0, 13.5), end=99.7)})
    assert told(made) == [(1, MOVED, {"invert_end": 1.0})]
    assert told(watch({1: WHOLE}, n1=drawn(A, (70.0, 30.0), C))) == []


def test_small_moves_add_up():
    made = watch({1: WHOLE}, n1=drawn(A, (200.008, 0.0)))
    made.follow({}, {1: drawn(A, (200.016, 0.0))})
    assert [one.how for one in made.behind()] == [MOVED]


def test_cut():
    made = watch({1: WHOLE}, n1=drawn(A, B), **{"n-1": drawn(B, C, key="new")})
    assert told(made) == [(1, CUT, {"invert_end": 150.0}), (-1, CUT, {"invert_start": 50.0})]
    whole = made.behind()[0].whole
    assert whole == WHOLE and in_order(whole, made.parts(whole), 0.01) == [(1, 0.0), (-1, 50.0)]
    assert said(made) == "drain K was cut, its inverts are still those of the whole."
    made.follow({}, {1: WHOLE, -1: None})
    assert told(made) == []
    made.follow({}, {1: drawn(A, B), -1: drawn(B, C, key="new")})
    assert len(made.behind()) == 2
    made.follow({}, {1: drawn(A, B, end=99.95), -1: drawn(B, C, key="new", start=99.95)})
    assert told(made) == []


def test_a_copied_key_alone_is_a_fault():
    bare = {"start": None, "end": None}
    made = watch({1: drawn(A, C, **bare)}, n1=drawn(A, B, **bare), **{"n-1": drawn(B, C, **bare)})
    assert [(one.number, one.needs_key) for one in made.behind()] == [(-1, True)]
    assert said(made) == "drain K was cut, and the parts have one key."
    made.follow({}, {-1: drawn(B, C, key="K.2", **bare)})
    assert told(made) == []


def test_cut_again_before_it_was_mended():
    made = watch({1: WHOLE}, n1=drawn(A, B), **{"n-1": drawn(B, C, key="x")})
    made.follow({}, {-1: drawn(B, (90.0, 0.0), key="x"), -2: drawn((90.0, 0.0), C, key="y")})
    wholes = {id(one.whole) for one in made.behind()}
    assert len(wholes) == 1
    whole = made.behind()[0].whole
    assert whole == WHOLE and in_order(whole, made.parts(whole), 0.01) == [(1, 0.0), (-1, 50.0), (-2, 90.0)]


def test_parts_that_are_not_the_whole_have_no_order():
    assert in_order(WHOLE, {1: drawn(A, B), 2: drawn((60.0, 0.0), C)}, 0.01) is None
    assert in_order(WHOLE, {1: drawn(A, B)}, 0.01) is None


def test_new_lines_are_no_parts_of_others():
    other = drawn(B, (50.0, 80.0), key="L", start=98.0)
    assert told(watch({1: WHOLE}, n1=WHOLE, n2=other)) == []
    assert told(watch({1: WHOLE}, n1=drawn(A, (60.0, 0.0), C), n2=drawn(B, (50.0, 80.0), key="L"))) == []


def test_several_are_one_sentence_and_let_be_is_heard():
    lines = {k: drawn((0.0, k), (200.0, k), key=f"K{k}") for k in range(1, 7)}
    made = Watch(0.01)
    made.follow(lines, {k: Drawn(one.places[::-1], one.row) for k, one in lines.items()})
    assert said(made).startswith("drains K1, K2, K3, K4 and 2 more were turned")
    made.let_be()
    assert made.behind() == []
    made.follow({7: WHOLE}, {7: TURN})
    assert [one.number for one in made.behind()] == [7]


def test_changes_in_words():
    assert change_words(WHOLE.row, {"invert_end": 99.95, "invert_start": 100.0, "note": "x"}, "ft") == [
        "Invert at end: 99.80 ft \u2192 99.95 ft"]
    assert change_words(WHOLE.row, {"drain_id": "K.2", "invert_start": None}, "ft") == [
        "Drain: K \u2192 K.2", "Invert at start: 100.00 ft \u2192 unknown"]
