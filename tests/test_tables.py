"""Tables typed by hand: whatever the spreadsheet program made of them."""

from __future__ import annotations

import contextlib
import csv
import io
from pathlib import Path

import openpyxl
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from reviewkit.errors import InputError, TableError
from reviewkit.tables import csv_table


def put(folder: Path, text: str | bytes, name: str = "t.csv") -> pd.DataFrame:
    data = text if isinstance(text, bytes) else text.encode()
    (folder / name).write_bytes(data)
    return csv_table.read(name, folder=folder)


def test_rows_keep_the_number_that_a_person_counts(tmp_path: Path) -> None:
    frame = put(tmp_path, "# spring readings\nReference (V);shown;remark\n3,52;3.5;fine\n\n3,61;3.6\n")
    assert list(frame.index) == [3, 5]
    assert frame.to_dict("list") == {
        "Reference (V)": ["3,52", "3,61"],
        "shown": ["3.5", "3.6"],
        "remark": ["fine", ""],
    }


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "cp1252"])
@pytest.mark.parametrize("delimiter", [",", ";", "\t", "|"])
def test_any_delimiter_in_any_encoding(tmp_path: Path, encoding: str, delimiter: str) -> None:
    text = delimiter.join(["state", "shows"]) + "\r\n" + delimiter.join(["left on", "25 °C, grün"])
    if delimiter == ",":
        text = text.replace("25 °C, grün", '"25 °C, grün"')
    assert put(tmp_path, text.encode(encoding)).iloc[0].tolist() == ["left on", "25 °C, grün"]


def test_a_workbook_reads_like_its_csv(tmp_path: Path) -> None:
    book = openpyxl.Workbook()
    for row in [["reference", "shown"], [3.52, "3.5"], [], [4, 3.9]]:
        book.active.append(row)
    book.save(tmp_path / "t.xlsx")
    frame = csv_table.read("t.xlsx", folder=tmp_path)
    assert frame.to_dict("list") == {"reference": ["3.52", "4"], "shown": ["3.5", "3.9"]}
    assert list(frame.index) == [2, 4]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (b"", "empty"),
        (b"a,b\n1,2,3\n", "row 2"),
        (b"a,a\n1,2\n", "two columns"),
        (b"a\0,b\n", "NUL"),
        (b"PK\x03\x04 no zip", "workbook"),
        (b"PAR1", "CSV or XLSX"),
        (b"# only a remark\n", "empty"),
    ],
)
def test_faults_name_the_file_and_the_row(tmp_path: Path, text: bytes, words: str) -> None:
    with pytest.raises(TableError, match=words) as caught:
        put(tmp_path, text)
    assert caught.value.file == "t.csv"


@pytest.mark.parametrize(
    "path", ["../t.csv", "/etc/hosts", "C:/t.csv", "logs/../../t.csv", "", "a\0b", "no.csv", "."]
)
def test_paths_that_leave_the_folder_or_lead_nowhere_are_refused(tmp_path: Path, path: str) -> None:
    with pytest.raises(TableError):
        csv_table.read(path, folder=tmp_path)


def test_a_link_out_of_the_folder_is_refused(tmp_path: Path) -> None:
    (tmp_path / "inside").mkdir()
    (tmp_path / "outside.csv").write_text("a,b\n1,2\n")
    (tmp_path / "inside" / "link.csv").symlink_to(tmp_path / "outside.csv")
    with pytest.raises(TableError, match="out of the review folder"):
        csv_table.read("link.csv", folder=tmp_path / "inside")


def test_columns_are_found_by_usual_heading_or_by_the_named_one() -> None:
    frame = pd.DataFrame(columns=["Reference_(V)", "Shown value", "I [mA]"])
    usual = {"reference": ("reference voltage",), "shown": ("shown value",), "load": ("i",), "remark": ()}
    assert csv_table.pick(frame, usual, file="t.csv", optional=("remark",)) == {
        "reference": "Reference_(V)",
        "shown": "Shown value",
        "load": "I [mA]",
    }
    with pytest.raises(TableError, match=r"no column for 'remark'.*Shown value"):
        csv_table.pick(frame, usual, file="t.csv")
    with pytest.raises(TableError, match="no column 'seen'"):
        csv_table.pick(frame, usual, file="t.csv", named={"shown": "seen"}, optional=("shown", "remark"))


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("4.12", 4.12),
        ("4,12", 4.12),
        ("−0.3", -0.3),
        ("1 234,5", 1234.5),
        ("1.234,5", 1234.5),
        (".5", 0.5),
        ("2e-3", 0.002),
    ],
)
def test_numbers_as_people_write_them(text: str, value: float) -> None:
    assert csv_table.number(text) == value


@pytest.mark.parametrize("text", ["", "inf", "nan", "four", "4.1.2", "1e999", "4.1 V", "--1"])
def test_what_is_no_number(text: str) -> None:
    with pytest.raises(ValueError, match="is no number"):
        csv_table.number(text)


def test_a_bad_cell_is_named_by_row_and_column(tmp_path: Path) -> None:
    frame = put(tmp_path, "reference,shown\n3.5,3.5\n,3.6\n3.7 V,3.7\n")
    with pytest.raises(TableError, match="row 4, column 'reference'"):
        csv_table.numbers(frame, "reference", file="t.csv")
    assert csv_table.numbers(frame.loc[:3], "reference", file="t.csv").isna().tolist() == [False, True]


@settings(deadline=None)
@given(st.binary(max_size=300))
def test_any_bytes_give_a_table_or_an_error_of_the_kit(
    tmp_path_factory: pytest.TempPathFactory, data: bytes
) -> None:
    folder = tmp_path_factory.mktemp("bytes")
    with contextlib.suppress(InputError):
        assert isinstance(put(folder, data), pd.DataFrame)


CELL = st.text("abc19.,;|\t\"' é−", max_size=6).map(str.strip)


@settings(deadline=None)
@given(
    body=st.lists(st.lists(CELL, min_size=3, max_size=3), min_size=1, max_size=6),
    delimiter=st.sampled_from(csv_table.DELIMITERS),
    encoding=st.sampled_from(["utf-8", "utf-8-sig", "utf-16"]),
)
def test_what_a_spreadsheet_writes_is_read_back(
    tmp_path_factory: pytest.TempPathFactory, body: list[list[str]], delimiter: str, encoding: str
) -> None:
    text = io.StringIO()
    writer = csv.writer(text, delimiter=delimiter, quoting=csv.QUOTE_ALL)
    writer.writerows([["one", "two", "three"], *body])
    frame = put(tmp_path_factory.mktemp("dialect"), text.getvalue().encode(encoding))
    assert frame.to_numpy().tolist() == [row for row in body if any(row)]
