"""Sizes to choose from."""

import pytest
from fallkeeper.plugin.schema.stock import stock_sizes
from fallkeeper.plugin.schema.values import VALUE_LISTS


@pytest.mark.parametrize("material", [*VALUE_LISTS["material"], None])
@pytest.mark.parametrize("is_us", [True, False])
def test_every_material_has_sizes_from_small_to_large_each_once(material, is_us):
    sizes = stock_sizes(material, is_us)
    figures = [figure for figure, _ in sizes]
    assert figures == sorted(figures) and len({words for _, words in sizes}) == len(sizes) >= 6
    assert all(words.startswith(f"{figure:g} {'in' if is_us else 'mm'}") for figure, words in sizes)


def test_the_sizes_of_the_sample_are_among_them():
    assert 10.0 in {figure for figure, _ in stock_sizes("clay", True)}
    assert {4.0, 12.0, 15.0} <= {figure for figure, _ in stock_sizes("corrugated_plastic", True)}


def test_where_the_material_is_unknown_all_stand_there():
    every = {figure for figure, _ in stock_sizes(None, True)}
    assert all({figure for figure, _ in stock_sizes(one, True)} <= every for one in VALUE_LISTS["material"])
    assert (102.0, "102 mm (4 in)") in stock_sizes(None, False) and (100.0, "100 mm (clay)") in stock_sizes(None, False)


def test_a_material_in_no_list_has_none():
    assert stock_sizes("wood", True) == []
