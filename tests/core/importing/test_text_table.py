"""Tables in text files as machines and offices write them."""

import csv
import io

import pytest
from fallkeeper.plugin.importing.text_table import EncodingError, decode, guess_encoding, read_table


@pytest.mark.parametrize("sign", [",", ";", "\t", "|", "  "])
def test_every_separator(sign):
    table = read_table(f"id{sign}x{sign}y\nA{sign}1.5{sign}2\nB{sign}3{sign}4\n")
    assert table.named
    assert table.line == (2, 3)
    parted = table.text.splitlines()[1]
    assert parted in ("A,1.5,2", f"A{sign}1.5{sign}2")


def test_lines_above_the_table_and_blank_ones_keep_the_numbers_of_the_lines():
    table = read_table("Log of unit 7\nDate: 2020-01-02\n\n# id,x,y\nA,1,2\n\nB,3,4\n")
    assert table.text == "id,x,y\nA,1,2\nB,3,4\n"
    assert table.line == (5, 7)
    assert table.before == ("Log of unit 7", "Date: 2020-01-02")


def test_a_table_without_names():
    table = read_table("1,2100000.5,800000.2\n2,2100001.5,800000.2\n")
    assert (table.named, table.line) == (False, (1, 2))


def test_decimal_commas_between_semicolons():
    table = read_table("x;y\n1,5;2,5\n3,5;4,5\n")
    assert table.text.splitlines()[0] == "x;y"


def test_one_column_is_a_table_of_one():
    assert read_table("name\na\nb\n").named
    assert read_table("").text == "\n"


def cells(table):
    return list(csv.reader(io.StringIO(table.text)))


def test_rows_over_several_lines_are_found_by_their_first():
    table = read_table('id,note\nA,"two\nlines"\n\nB,x\n')
    assert table.line == (2, 5)
    assert cells(table) == [["id", "note"], ["A", "two\nlines"], ["B", "x"]]


def test_names_used_twice_and_cells_without_a_name_are_kept():
    table = read_table("id;Depth;depth;\nA;3;4;5;6\nB;1\nC;1;2;3\n")
    assert cells(table) == [["id", "Depth", "depth (column 3)", "column 4", "column 5"], ["A", "3", "4", "5", "6"],
                            ["B", "1"], ["C", "1", "2", "3"]]
    unnamed = read_table("1,2.5,3\n2,3.5,4\n3,4.5,5,6\n")
    assert (cells(unnamed)[0], unnamed.named) == (["1", "2.5", "3", ""], False)


def test_marks_of_inches_and_seconds_are_no_quotes():
    table = read_table('id,size,lat\nA,4",41\u00b051\'41.1"N\nB,"6""",41\u00b051\'42.1"N\n')
    assert cells(table)[1:] == [["A", '4"', "41\u00b051'41.1\"N"], ["B", '6"', "41\u00b051'42.1\"N"]]
    assert table.line == (2, 3)


def test_a_sign_of_no_text_and_a_shape_of_many_places():
    assert decode(b"id,x\nA\0,1\n" + b"B,1\n" * 50)[0].startswith("id,x\nA,1\n")
    with pytest.raises(EncodingError, match="no text"):
        decode(b"\0\1" * 50)
    long = "LINESTRING (" + ", ".join(f"{k} 0" for k in range(40_000)) + ")"
    assert cells(read_table(f'id,wkt\nA,"{long}"\n'))[1] == ["A", long]


def test_letters():
    assert decode("gr\u00fcn".encode()) == ("gr\u00fcn", "")
    assert decode("gr\u00fcn".encode("utf-16")) == ("gr\u00fcn", "")
    assert decode("\ufeffgr\u00fcn".encode()) == ("gr\u00fcn", "")
    text, said = decode("gr\u00fcn".encode("cp1252"))
    assert text == "gr\u00fcn"
    assert "read as Windows letters" in said
    assert decode("gr\u00fcn".encode("cp850"), "cp850") == ("gr\u00fcn", "")
    with pytest.raises(EncodingError, match="not written in utf-8"):
        decode("gr\u00fcn".encode("cp1252"), "utf-8")
    with pytest.raises(EncodingError, match="'klingon' is not known"):
        decode(b"x", "klingon")


def test_letters_of_a_table_with_other_bytes_between():
    utf, windows = "Gr\u00fcne Stra\u00dfe".encode(), "Gr\u00fcne Stra\u00dfe".encode("cp1252")
    assert guess_encoding(b"plain", "") == ("utf-8", "")
    assert guess_encoding(utf, "UTF-8") == ("UTF-8", "")
    assert guess_encoding(windows, "cp1252") == ("cp1252", "")
    assert guess_encoding(windows, "ISO-8859-1") == ("ISO-8859-1", "")
    found, said = guess_encoding(windows, "UTF-8")
    assert found == "cp1252"
    assert "declared as UTF-8, but it looks like Windows letters" in said
    found, said = guess_encoding(utf, "")
    assert (found, "does not say" in said) == ("utf-8", True)
    assert guess_encoding(utf * 20 + utf[:3], "")[0] == "utf-8", "a letter cut at the end of a field"
