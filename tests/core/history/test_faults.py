"""Whatever happens to the computer, the disk or the file while an archive is changed, it holds all or nothing of it.

`make test` kills the process at 6 moments of each kind of work, `make test-long` at 50.
"""

import contextlib
import datetime
import os
import random
import shutil
import signal
import sqlite3
import time
from contextlib import closing

import layouts
import pytest
from archives import copied_sample, dump
from fallkeeper.plugin.compare.accept import accept_layout
from fallkeeper.plugin.compare.decide import decide
from fallkeeper.plugin.history.as_of import draw_archive
from fallkeeper.plugin.history.file import open_archive
from fallkeeper.plugin.history.triggers import trigger_faults
from fallkeeper.plugin.history.undo import Chosen, undo
from fallkeeper.plugin.schema.faults import ArchiveError
from fallkeeper.plugin.units import US_SURVEY_FOOT_M
from long_runs import report, times
from permissions import permissions_hold
from scenario import UNITS

MOMENTS = times(6, 50)
LINES = 400
needs_fork = pytest.mark.skipif(not hasattr(os, "fork"), reason="a process is split in two, which Windows cannot")
# a newer Python warns of every fork with threads; those of numpy do nothing here
pytestmark = pytest.mark.filterwarnings("ignore:.*multi-threaded:DeprecationWarning")


@pytest.fixture(scope="module")
def layout():
    """Many lines, so that writing takes long enough to be broken off."""
    rows = [layouts._lateral(f"Z{k}", 3000 + 20 * k, joint=699.0, x=(9000.0, 8000.0)) for k in range(LINES)]
    compared = layouts.compare_f7(rows, bridged=False)
    return compared, decide(compared, keys=[row["drain_id"] for row in rows]), layouts.brought(rows)


@pytest.fixture
def path(tmp_path):
    return copied_sample(tmp_path)


def merge(path, layout):
    compared, chosen, brought = layout
    return accept_layout(path, compared, chosen, brought, US_SURVEY_FOOT_M, UNITS, "plan 7", "Ada").batch


def rows(path):
    return {name: held for name, held in dump(path).items() if name != "history"}


def sound(path):
    """That it opens and verifies."""
    with closing(open_archive(path, write=True)) as connection:
        assert connection.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        assert connection.execute("SELECT rtreecheck('rtree_drains_geom')").fetchone() == ("ok",)
        assert trigger_faults(connection) == []
        assert connection.execute("SELECT batch, replacing FROM history_note").fetchall() == [(None, 0)]


def split_off(work) -> int:
    """The number of a process that does the work and ends."""
    child = os.fork()
    if child == 0:
        status = 1
        with contextlib.suppress(BaseException):
            work()
            status = 0
        os._exit(status)
    return child


def killed(work, after_s: float) -> bool:
    """Whether it was still at work."""
    child = split_off(work)
    time.sleep(after_s)
    os.kill(child, signal.SIGKILL)
    return os.WIFSIGNALED(os.waitpid(child, 0)[1])


def duration_s(work) -> float:
    start = time.perf_counter()
    assert os.waitpid(split_off(work), 0)[1] == 0
    return time.perf_counter() - start


def kill_at_moments(start, work, before, after, subject):
    """Work on a copy of the archive `start` is killed at random moments; `before` and `after` say which state it holds.

    Every second copy is in WAL mode, as while QGIS has a layer open.
    """
    copy = start.with_name("killed.gpkg")
    shutil.copyfile(start, copy)
    whole_s = duration_s(lambda: work(copy))
    moments = random.Random(7)
    found = {"before": 0, "after": 0}
    in_the_middle = 0
    for moment in range(MOMENTS):
        for part in start.parent.glob("killed.gpkg*"):
            part.unlink()
        shutil.copyfile(start, copy)
        if moment % 2:
            with closing(sqlite3.connect(copy)) as connection:
                connection.execute("PRAGMA journal_mode = WAL")
        after_s = moments.uniform(0.0, 1.2) * whole_s
        if killed(lambda: work(copy), after_s):
            whole_s = max(whole_s, after_s)  # the computer is busier than at first
        in_the_middle += any(part.stat().st_size for part in start.parent.glob("killed.gpkg-[jw]*"))
        sound(copy)
        state = "before" if before(copy) else "after"
        assert state == "before" or after(copy)
        found[state] += 1
    report(subject, f"{MOMENTS} kills, {in_the_middle} with the transaction open on the disk; the archive held the "
                    f"state before {found['before']} times, after {found['after']} times, and never another")
    if MOMENTS >= 50:
        assert min(found["before"], found["after"], in_the_middle) >= 3


@needs_fork
@pytest.mark.long
def test_killed_while_a_layout_is_accepted(path, layout):
    before = dump(path)
    counts = {name: len(held) for name, held in before.items()}

    def is_whole(copy):
        held = dump(copy)
        counted = {name: len(held[name]) - counts[name] for name in counts}
        wanted = {"drains": LINES, "layout_lines": LINES, "layouts": 1, "history": 2 * LINES + 1}
        assert {name: count for name, count in counted.items() if count} == wanted
        return all(set(before[name]) <= set(held[name]) for name in before)

    kill_at_moments(path, lambda copy: merge(copy, layout), lambda copy: dump(copy) == before, is_whole, "merge")


@needs_fork
@pytest.mark.long
def test_killed_while_it_is_taken_back(path, layout):
    before_merge = rows(path)
    batch = merge(path, layout)
    merged = dump(path)

    def is_whole(copy):
        assert len(dump(copy)["history"]) == len(merged["history"]) + 2 * LINES + 1
        return rows(copy) == before_merge

    kill_at_moments(path, lambda copy: undo(copy, Chosen(batch)), lambda copy: dump(copy) == merged, is_whole, "undo")


@needs_fork
def test_killed_while_a_day_is_drawn_there_is_no_drawing_and_it_can_be_drawn_again(path, layout):
    at = datetime.datetime.now(datetime.timezone.utc)
    time.sleep(0.01)
    merge(path, layout)
    held, drawing = path.read_bytes(), path.with_name("drawing.gpkg")
    whole_s = duration_s(lambda: draw_archive(path, drawing, known_on=at))
    drawing.unlink()
    for share in (0.2, 0.6, 0.9):
        killed(lambda: draw_archive(path, drawing, known_on=at), share * whole_s)
        if drawing.exists():  # it was quicker
            sound(drawing)
            drawing.unlink()
    assert path.read_bytes() == held
    assert draw_archive(path, drawing, known_on=at).changes_since == 2 * LINES + 1
    assert sorted(file.name for file in path.parent.iterdir()) == ["drawing.gpkg", "ossel flats.gpkg"]


def said_with(limit_bytes, work) -> str:
    """The sentence with which work ends in a process whose files may not grow beyond this."""
    import resource

    reading, writing = os.pipe()

    def limited():
        resource.setrlimit(resource.RLIMIT_FSIZE, (limit_bytes, limit_bytes))
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        try:
            work()
            said = "it was done"
        except ArchiveError as fault:
            said = str(fault)
        except BaseException as fault:
            said = repr(fault)
        os.write(writing, said.encode())

    child = split_off(limited)
    os.waitpid(child, 0)
    os.close(writing)
    with open(reading, encoding="utf-8") as told:  # noqa: PTH123 (no path)
        return told.read()


@needs_fork
@pytest.mark.parametrize("more", [0, 30_000, 300_000])
def test_no_room_on_the_disk(path, layout, more):
    at = datetime.datetime.now(datetime.timezone.utc)
    time.sleep(0.01)
    before = dump(path)
    limit = path.stat().st_size + more
    assert "nothing was changed" in said_with(limit, lambda: merge(path, layout))
    sound(path)
    assert dump(path) == before
    batch = merge(path, layout)
    merged, limit = dump(path), path.stat().st_size
    # the journal finds no room for the pages it has to keep
    said = said_with(min(limit, 100_000 + more), lambda: undo(path, Chosen(batch)))
    assert "nothing was changed" in said
    sound(path)
    assert dump(path) == merged
    drawing = path.with_name("drawing.gpkg")
    said = said_with(limit // 2, lambda: draw_archive(path, drawing, known_on=at))
    assert "disk" in said and "drawing.gpkg" in said
    assert [file.name for file in path.parent.iterdir()] == [path.name]


def test_read_only(path, layout):
    batch = merge(path, layout)
    before = dump(path)
    path.chmod(0o444)
    with permissions_hold():
        for work in (lambda: merge(path, layout), lambda: undo(path, Chosen(batch))):
            with pytest.raises(ArchiveError, match=r"read-only. Make it writable, or work on a copy"):
                work()
        draw_archive(path, path.with_name("drawing.gpkg"), day=datetime.date(2026, 5, 10))  # which only reads it
    assert dump(path) == before


def test_a_folder_that_may_not_be_written(path, layout):
    """Without a journal beside the file SQLite changes nothing."""
    batch, folder = merge(path, layout), path.parent
    before = dump(path)
    folder.chmod(0o555)
    try:
        with permissions_hold():
            with pytest.raises(ArchiveError, match=r"cannot be (written|opened): .*folder"):
                undo(path, Chosen(batch))
            with pytest.raises(ArchiveError, match=r"cannot be opened: look whether the folder"):
                draw_archive(path, folder / "drawing.gpkg")
    finally:
        folder.chmod(0o755)
    assert dump(path) == before


def test_locked_by_another_client(path, layout, monkeypatch):
    monkeypatch.setattr("fallkeeper.plugin.history.file.PATIENCE_S", 0.05)
    batch = merge(path, layout)
    before = dump(path)
    with closing(sqlite3.connect(path, isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        for work in (lambda: merge(path, layout), lambda: undo(path, Chosen(batch))):
            with pytest.raises(ArchiveError, match="is being written by another program.*: nothing was changed"):
                work()
        draw_archive(path, path.with_name("drawing.gpkg"))  # reading is allowed meanwhile
        other.execute("ROLLBACK")
        other.execute("BEGIN EXCLUSIVE")
        with pytest.raises(ArchiveError, match="is being written by another program"):
            draw_archive(path, path.with_name("drawing 2.gpkg"))
        other.execute("ROLLBACK")
    assert dump(path) == before
    assert not path.with_name("drawing 2.gpkg").exists()


@pytest.mark.long
def test_a_damaged_file_is_said_and_stays_as_it_is(path, layout):
    """Pages overwritten at random: the work is done as if nothing was, or a sentence says what to do."""
    batch = merge(path, layout)
    at = datetime.datetime(2000, 1, 1, tzinfo=datetime.timezone.utc)
    whole, said = path.read_bytes(), {}
    chance = random.Random(3)
    for _ in range(times(15, 300)):
        data = bytearray(whole)
        for _ in range(chance.choice((1, 5, 50))):
            start = 4096 * chance.randrange(len(data) // 4096)
            start += chance.choice((0, chance.randrange(4096)))
            size = min(chance.choice((8, 200, 4096)), len(data) - start)
            data[start : start + size] = chance.randbytes(size)
        for name, work in (
            ("undo", lambda file: undo(file, Chosen(batch))),
            ("draw", lambda file: draw_archive(file, file.with_name("drawing.gpkg"), known_on=at)),
        ):
            damaged = path.with_name("damaged.gpkg")
            damaged.write_bytes(data)
            try:
                work(damaged)
                ended = "done"
            except ArchiveError as fault:
                ended = "refused"
                assert "damaged.gpkg" in str(fault) and "\n" not in str(fault)
                assert damaged.read_bytes() == bytes(data)
                assert not path.with_name("drawing.gpkg").exists()
            said[name, ended] = said.get((name, ended), 0) + 1
            for part in path.parent.glob("d*.gpkg*"):
                part.unlink()
    report("damaged file", ", ".join(f"{name} {ended} {count} times" for (name, ended), count in sorted(said.items())))
    assert said["undo", "refused"] and said["draw", "refused"]
