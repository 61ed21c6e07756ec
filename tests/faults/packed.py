"""Workbooks and Parquet files, damaged or made to burst."""

from __future__ import annotations

import io
import random
import zipfile
from pathlib import Path

from .entry import Damage, Refused, both, changed, swapped, wrote
from .good import charge

XLSX, PARQUET, REVIEW = "logs/current.xlsx", "logs/current.parquet", "review.yaml"

_TYPES = """<?xml version="1.0"?><Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types">
<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>
<Override PartName="/xl/workbook.xml"
 ContentType="application/vnd.openxmlformats-officedocument.spreadsheetml.sheet.main+xml"/>
<Override PartName="/xl/worksheets/sheet1.xml"
 ContentType="application/vnd.openxmlformats-officedocument.spreadsheetml.worksheet+xml"/></Types>"""
_OFFICE = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
_PACKAGE = "http://schemas.openxmlformats.org/package/2006/relationships"
_MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
_RELATIONS = f"""<?xml version="1.0"?><Relationships xmlns="{_PACKAGE}"><Relationship Id="r1"
 Type="{_OFFICE}/{{kind}}" Target="{{target}}"/></Relationships>"""
_BOOK = f"""<?xml version="1.0"?><workbook xmlns="{_MAIN}" xmlns:r="{_OFFICE}"><sheets>
<sheet name="log" sheetId="1" r:id="r1"/></sheets></workbook>"""


def book(sheet: str | bytes, *, more: dict[str, bytes] | None = None) -> bytes:
    """A workbook with one sheet, written part by part."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as packed:
        packed.writestr("[Content_Types].xml", _TYPES)
        packed.writestr("_rels/.rels", _RELATIONS.format(kind="officeDocument", target="xl/workbook.xml"))
        packed.writestr("xl/workbook.xml", _BOOK)
        packed.writestr(
            "xl/_rels/workbook.xml.rels", _RELATIONS.format(kind="worksheet", target="worksheets/sheet1.xml")
        )
        packed.writestr("xl/worksheets/sheet1.xml", sheet)
        for name, content in (more or {}).items():
            packed.writestr(name, content)
    return out.getvalue()


def sheet(*rows: str) -> str:
    return (
        f'<?xml version="1.0"?><worksheet xmlns="{_MAIN}"><sheetData>{"".join(rows)}</sheetData></worksheet>'
    )


def _text(place: str, text: str) -> str:
    return f'<c r="{place}" t="inlineStr"><is><t>{text}</t></is></c>'


HEAD = f"<row r='1'>{_text('A1', 'Time (s)')}{_text('B1', 'Current (A)')}</row>"


def good_book() -> bytes:
    """The charge's current as a workbook."""
    rows = [
        f"<row r='{row}'><c r='A{row}'><v>{30 * row}</v></c><c r='B{row}'><v>{amps:.3f}</v></c></row>"
        for row, (_, amps) in enumerate(charge(), start=2)
    ]
    return book(sheet(HEAD, *rows))


def parquet(folder: Path) -> None:
    """The charge's current as a Parquet file."""
    import pyarrow
    import pyarrow.parquet

    amps = [round(amps, 3) for _, amps in charge()]
    table = pyarrow.table({"Time (s)": [30.0 * row for row in range(len(amps))], "Current (A)": amps})
    pyarrow.parquet.write_table(table, folder / PARQUET)


def _long_parquet(folder: Path) -> None:
    import pyarrow
    import pyarrow.parquet

    empty = pyarrow.nulls(100_000_000)
    pyarrow.parquet.write_table(pyarrow.table({"Time (s)": empty, "Current (A)": empty}), folder / PARQUET)


def _as(path: str) -> Damage:
    return swapped(REVIEW, ("current: logs/current.csv", f"current: {path}"))


def _book(content: bytes) -> Damage:
    return both(wrote(XLSX, content), _as(XLSX))


_LAUGHS = (
    '<?xml version="1.0"?><!DOCTYPE x [<!ENTITY a "ha">'
    + "".join(f'<!ENTITY {chr(98 + step)} "{f"&{chr(97 + step)};" * 10}">' for step in range(9))
    + f']><worksheet xmlns="{_MAIN}"><sheetData><row r="1">'
    + '<c t="inlineStr"><is><t>&j;</t></is></c></row></sheetData></worksheet>'
)

PACKED = (
    Refused(
        "workbook: cut in its middle",
        _book(good_book()[:3000]),
        ("logs/current.xlsx: the workbook is damaged and cannot be read. Save it again, or as CSV."),
    ),
    Refused(
        "workbook: its table of contents lost",
        _book(good_book()[:-60]),
        ("logs/current.xlsx: the workbook is damaged and cannot be read. Save it again, or as CSV."),
    ),
    Refused(
        "workbook: bytes in its middle overwritten",
        both(
            _book(good_book()),
            changed(XLSX, lambda raw: raw[:1800] + random.Random(1).randbytes(400) + raw[2200:]),
        ),
        ("logs/current.xlsx: the workbook is damaged and cannot be read. Save it again, or as CSV."),
    ),
    Refused(
        "workbook: a zip of something else",
        both(_as(XLSX), lambda folder: zipfile.ZipFile(folder / XLSX, "w").writestr("a.txt", "hello")),
        ("logs/current.xlsx: the workbook is damaged and cannot be read. Save it again, or as CSV."),
    ),
    Refused(
        "workbook: no sheet in it",
        _book(book("")),
        ("logs/current.xlsx: the workbook is damaged and cannot be read. Save it again, or as CSV."),
    ),
    Refused(
        "workbook: an empty sheet",
        _book(book(sheet())),
        "logs/current.xlsx: the workbook is empty. Put the table on its first sheet.",
    ),
    Refused(
        "workbook: a sheet of words",
        _book(book(sheet(f"<row r='1'>{_text('A1', 'see page 2')}</row>"))),
        (
            "logs/current.xlsx: no table of times and readings is seen in it; expected a heading "
            "row, then rows of a time and a number. Export it from the meter as CSV with "
            "headings."
        ),
    ),
    Refused(
        "workbook: a page of blanks packed a thousandfold",
        _book(book(b" " * 300_000_000)),
        (
            "logs/current.xlsx: the workbook is larger than a table can be, or holds a cell far "
            "below its table. Save the table alone, as CSV."
        ),
    ),
    Refused(
        "workbook: entities that multiply",
        _book(book(_LAUGHS)),
        ("logs/current.xlsx: the workbook is damaged and cannot be read. Save it again, or as CSV."),
    ),
    Refused(
        "workbook: a cell in the last row and column",
        _book(book(sheet(HEAD, "<row r='1048576'><c r='XFD1048576'><v>1</v></c></row>"))),
        (
            "logs/current.xlsx: the workbook is larger than a table can be, or holds a cell far "
            "below its table. Save the table alone, as CSV."
        ),
    ),
    Refused(
        "workbook: a row beyond all sheets",
        _book(book(sheet(HEAD, "<row r='2000000000'><c r='A2000000000'><v>1</v></c></row>"))),
        (
            "logs/current.xlsx: the workbook is larger than a table can be, or holds a cell far "
            "below its table. Save the table alone, as CSV."
        ),
    ),
    Refused(
        "workbook: a column beyond all sheets",
        _book(book(sheet(HEAD, "<row r='2'><c r='ZZZZZZ2'><v>1</v></c></row>"))),
        ("logs/current.xlsx: the workbook is damaged and cannot be read. Save it again, or as CSV."),
    ),
    Refused(
        "workbook: every reading an error",
        _book(
            book(
                sheet(
                    HEAD,
                    *(
                        f"<row r='{row}'><c r='A{row}'><v>{row}</v></c>"
                        f"<c r='B{row}' t='e'><v>#REF!</v></c></row>"
                        for row in range(2, 40)
                    ),
                )
            )
        ),
        (
            "logs/current.xlsx: the column 'Current (A)' holds mostly words, such as '#REF!'; "
            "expected numbers. The file has: 'Time (s)' (2, 3, 4), 'Current (A)' (#REF!, #REF!, "
            "#REF!)."
        ),
    ),
    Refused(
        "Parquet: cut in its middle",
        both(parquet, _as(PARQUET), changed(PARQUET, lambda raw: raw[: len(raw) // 2])),
        ("logs/current.parquet: the Parquet file is damaged and cannot be read. Export it again, or as CSV."),
    ),
    Refused(
        "Parquet: nothing behind its mark",
        both(wrote(PARQUET, b"PAR1"), _as(PARQUET)),
        ("logs/current.parquet: the Parquet file is damaged and cannot be read. Export it again, or as CSV."),
    ),
    Refused(
        "Parquet: bytes in its middle overwritten",
        both(
            parquet,
            _as(PARQUET),
            changed(PARQUET, lambda raw: raw[:60] + random.Random(2).randbytes(300) + raw[360:]),
        ),
        ("logs/current.parquet: the Parquet file is damaged and cannot be read. Export it again, or as CSV."),
    ),
    Refused(
        "Parquet: a hundred million rows",
        both(_long_parquet, _as(PARQUET)),
        (
            "logs/current.parquet: the file holds 100000000 rows; expected at most 50000000. Log "
            "fewer rows a second."
        ),
    ),
)
