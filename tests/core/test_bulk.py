"""The search for cyclic garbage waits only as long as it should."""

import gc

import pytest
from fallkeeper.plugin.bulk import many_objects


def test_search_is_put_back_also_after_a_fault():
    with pytest.raises(ZeroDivisionError), many_objects():
        assert not gc.isenabled()
        1 / 0  # noqa: B018 (the fault)
    assert gc.isenabled()


def test_who_switched_it_off_keeps_it_off():
    gc.disable()
    try:
        with many_objects():
            pass
        assert not gc.isenabled()
    finally:
        gc.enable()
