"""Two hundred spreadsheets that nobody should make: damaged, harmful, or filled in wrongly. All made here, by seed."""

from __future__ import annotations

import io
import random
import zipfile
from collections.abc import Callable, Iterator

from tests.support.spreadsheets import HEADINGS, ROWS, csv_bytes

Hostile = tuple[str, Callable[[], bytes]]
"""A file name, and what makes the file."""

MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
SHEET = "xl/worksheets/sheet1.xml"
LAUGHS = (
    '<!DOCTYPE x [<!ENTITY a "ha">'
    + "".join(
        "<!ENTITY " + name + ' "' + f"&{before};" * 10 + '">'
        for before, name in zip("abcdefgh", "bcdefghi", strict=True)
    )
    + "]>"
)
OUTSIDE = '<!DOCTYPE x [<!ENTITY a SYSTEM "file:///etc/passwd">]>'


def workbook(rows: str | None = None, *, parts: dict[str, bytes] | None = None, styles: bool = True) -> bytes:
    """Return a small workbook; ``rows`` is the XML of its rows, ``parts`` replace parts or add to them."""
    rows = _rows((HEADINGS, *ROWS)) if rows is None else rows
    content = {
        "[Content_Types].xml": '<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types">'
        '<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
        '<Default Extension="xml" ContentType="application/xml"/><Override PartName="/xl/workbook.xml" ContentType='
        '"application/vnd.openxmlformats-officedocument.spreadsheetml.sheet.main+xml"/><Override PartName='
        '"/xl/worksheets/sheet1.xml" ContentType='
        '"application/vnd.openxmlformats-officedocument.spreadsheetml.worksheet+xml"/></Types>',
        "_rels/.rels": '<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">'
        '<Relationship Id="r1" Type="http://schemas.openxmlformats.org/officeDocument/2006/relationships/officeDocument"'
        ' FieldTarget="xl/workbook.xml"/></Relationships>',
        "xl/workbook.xml": f'<workbook xmlns="{MAIN}" xmlns:r='
        '"http://schemas.openxmlformats.org/officeDocument/2006/relationships"><sheets>'
        '<sheet name="Builds" sheetId="1" r:id="r1"/></sheets></workbook>',
        "xl/_rels/workbook.xml.rels": '<Relationships xmlns='
        '"http://schemas.openxmlformats.org/package/2006/relationships"><Relationship Id="r1" Type='
        '"http://schemas.openxmlformats.org/officeDocument/2006/relationships/worksheet" '
        'Target="worksheets/sheet1.xml"/></Relationships>',
        SHEET: f'<worksheet xmlns="{MAIN}"><sheetData>{rows}</sheetData></worksheet>',
    }  # fmt: skip
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, text in {**{key: value.encode() for key, value in content.items()}, **(parts or {})}.items():
            archive.writestr(name, text)
    return out.getvalue()


def _rows(rows: tuple[tuple[str, ...], ...]) -> str:
    return "".join(f"<row>{''.join(map(_inline, row))}</row>" for row in rows)


def _inline(text: str) -> str:
    return f'<c t="inlineStr"><is><t>{text}</t></is></c>'


def _sheet(inner: str, after: str = "") -> bytes:
    text = f'<?xml version="1.0"?><worksheet xmlns="{MAIN}"><sheetData>{inner}</sheetData>{after}</worksheet>'
    return text.encode()


GOOD = _rows((HEADINGS, *ROWS))


def _damaged() -> Iterator[Hostile]:
    whole = workbook()
    for share in range(1, 25):
        yield f"cut-{share}.xlsx", lambda share=share: whole[: len(whole) * share // 25]
    for seed in range(45):
        yield f"flipped-{seed}.xlsx", lambda seed=seed: _flipped(whole, seed)
    for name, data in {
        "empty.xlsx": b"", "pk.xlsx": b"PK", "text.xlsx": b"hello", "old.xls": b"\xd0\xcf\x11\xe0" + bytes(600),
        "zeros.xlsx": bytes(5000), "pdf.xlsx": b"%PDF-1.7\n", "html.xlsx": b"<html><table><tr><td>1</td></tr></table>",
    }.items():  # fmt: skip
        yield name, lambda data=data: data


def _flipped(data: bytes, seed: int) -> bytes:
    rng = random.Random(seed)
    changed = bytearray(data)
    for _ in range(rng.choice((1, 3, 20, 200))):
        changed[rng.randrange(len(changed))] = rng.randrange(256)
    return bytes(changed)


def _harmful() -> Iterator[Hostile]:
    parts = ("[Content_Types].xml", "_rels/.rels", "xl/workbook.xml", "xl/_rels/workbook.xml.rels", SHEET,
             "xl/sharedStrings.xml", "xl/styles.xml", "docProps/app.xml")  # fmt: skip
    for index, part in enumerate(parts):
        laughing = f"{LAUGHS}<x>&i;</x>".encode()
        yield f"laughs-{index}.xlsx", lambda part=part, text=laughing: workbook(parts={part: text})
        reading = f"{OUTSIDE}<x>&a;</x>".encode()
        yield f"outside-{index}.xlsx", lambda part=part, text=reading: workbook(parts={part: text})
        wide = f'<?xml version="1.0" encoding="utf-16"?>{LAUGHS}<x>&i;</x>'.encode("utf-16")
        yield f"laughs-utf16-{index}.xlsx", lambda part=part, text=wide: workbook(parts={part: text})
    yield "bomb.xlsx", lambda: workbook(parts={"xl/media/a.bin": bytes(160_000_000)})
    yield "bomb-sheet.xlsx", lambda: workbook(parts={SHEET: _sheet(GOOD + " " * 60_000_000)})
    yield "bomb-many.xlsx", lambda: workbook(parts={f"xl/media/{i}.bin": b"" for i in range(4000)})
    yield "sized-wrongly.xlsx", lambda: _sized_wrongly(workbook())
    yield "path-name.xlsx", lambda: workbook(parts={"../../etc/x": b"x", "/abs": b"y"})
    yield "deep.xlsx", lambda: workbook(parts={SHEET: _sheet("<row>" + "<c>" * 40_000 + "</c>" * 40_000 + "</row>")})
    yield "columns-16384.xlsx", lambda: workbook(f"<row>{'<c><v>1</v></c>' * 16_384}</row>")
    yield "columns-100000.xlsx", lambda: workbook(f"<row>{'<c><v>1</v></c>' * 100_000}</row>")
    yield "columns-million.xlsx", lambda: workbook(f"<row>{'<c/>' * 1_000_000}</row>")
    yield "rows-million.xlsx", lambda: workbook(GOOD + "<row><c><v>1</v></c></row>" * 300_000)
    yield "rows-empty.xlsx", lambda: workbook(GOOD + "<row/>" * 1_000_000)
    yield "last-row.xlsx", lambda: workbook(GOOD + '<row r="1048576"><c r="XFD1048576"><v>1</v></c></row>')
    yield "row-number.xlsx", lambda: workbook(GOOD + '<row r="999999999999"><c><v>1</v></c></row>')
    yield "dimension.xlsx", lambda: workbook(parts={SHEET: _sheet(GOOD).replace(
        b"<sheetData>", b'<dimension ref="A1:XFD1048576"/><sheetData>', 1)})  # fmt: skip
    yield "csv-columns.csv", lambda: b"," * 100_000 + b"\n" + b"1," * 100_000
    yield "csv-rows.csv", lambda: b"Job,Engine\n" + b"1,2\n" * 300_000
    yield "csv-line.csv", lambda: b"Job,Engine\n1," + b"x" * 3_000_000
    yield "csv-quote.csv", lambda: b'Job,Engine,Cyl\n1,"' + b"x\n" * 100_000
    yield "csv-quotes.csv", lambda: b'"' * 200_001


def _sized_wrongly(data: bytes) -> bytes:
    """Return a workbook whose directory gives one byte as the size of every part."""
    changed = bytearray(data)
    at = 0
    while (at := changed.find(b"PK\x01\x02", at)) >= 0:
        changed[at + 24 : at + 28] = (1).to_bytes(4, "little")
        at += 4
    return bytes(changed)


def _odd_cells() -> Iterator[Hostile]:
    head = _rows((HEADINGS,))
    cells = {
        "style": '<c s="99999"><v>1</v></c>', "style-text": '<c s="x"><v>1</v></c>', "shared": '<c t="s"><v>7</v></c>',
        "shared-negative": '<c t="s"><v>-3</v></c>', "nan": "<c><v>NaN</v></c>", "inf": "<c><v>1e999</v></c>",
        "digits": f"<c><v>{'9' * 6000}</v></c>", "small": "<c><v>1e-300</v></c>", "word": "<c><v>abc</v></c>",
        "boolean": '<c t="b"><v>7</v></c>', "boolean-text": '<c t="b"><v>x</v></c>', "date": '<c t="d"><v>x</v></c>',
        "error": '<c t="e"><v>#DIV/0!</v></c>', "kind": '<c t="zzz"><v>1</v></c>', "ref": '<c r="A0"><v>1</v></c>',
        "ref-far": '<c r="ZZZZ1"><v>1</v></c>', "ref-none": '<c r=""><v>1</v></c>',
        "ref-back": '<c r="1A"><v>1</v></c>',
        "formula": "<c><f>1+1</f></c>", "formula-text": '<c t="str"><f>A1</f><v>=cmd</v></c>',
        "formula-shared": '<c><f t="shared" si="9"/></c>', "inline-none": '<c t="inlineStr"/>',
        "long": f'<c t="inlineStr"><is><t>{"x" * 60_000}</t></is></c>',
        "control": '<c t="inlineStr"><is><t>a&#x9;b&#x202E;c</t></is></c>',
        "number": f"<c><v>{'1' * 40}.{'2' * 40}</v></c>",
    }  # fmt: skip
    for name, cell in cells.items():
        row = f"<row>{_rows((('7', 'Tug', '', '', '4'),))[5:-6]}{cell}</row>"
        yield f"cell-{name}.xlsx", lambda row=row: workbook(head + row + _rows(ROWS[:1]))
    merged = (
        f"<mergeCells>{''.join(f'<mergeCell ref={ref!r}/>' for ref in ('A2:A4', 'B1:H1', 'x', 'A9:A1'))}</mergeCells>"
    )
    yield "merged.xlsx", lambda: workbook(parts={SHEET: _sheet(GOOD, after=merged.replace("'", '"'))})
    yield "no-rows.xlsx", lambda: workbook("")
    yield "headings-only.xlsx", lambda: workbook(head)
    yield "no-headings.xlsx", lambda: workbook("<row><c><v>1</v></c></row>" * 5)
    yield "same-headings.xlsx", lambda: workbook(_rows((("Job",) * 8, *ROWS)))
    yield "no-sheet.xlsx", lambda: workbook(parts={"xl/workbook.xml": f'<workbook xmlns="{MAIN}"/>'.encode()})
    yield "missing-sheet.xlsx", lambda: workbook(parts={SHEET: b""})


VALUES = (
    "=1+1", "1e400", "-4.03", "0", "4,03,0", "4.03.1", "1/0", "999999999999", "4.03 kg", "4.03 parsecs", "∞", "٤٫٠",
    "yes", "null", "{a: b}", "[1, 2", "*x", "&x", "!!python/object:os.system x", "x: y: z", "'", '"', "%", "\\",
    "a" * 5000, "\u202egnp.exe", "2001-02-30", "31/31/1999", "12:61", "V8 V8", "\t", "../../etc", "CON", "<script>",
)  # fmt: skip


def _odd_values() -> Iterator[Hostile]:
    for index, value in enumerate(VALUES):
        rows = [tuple(value for _ in HEADINGS), *(
            tuple(value if place == column else text for place, text in enumerate(ROWS[0]))
            for column in range(len(HEADINGS))
        )]  # fmt: skip
        yield f"value-{index}.csv", lambda rows=rows: csv_bytes((HEADINGS, *rows))


def _odd_csv() -> Iterator[Hostile]:
    text = csv_bytes((HEADINGS, *ROWS)).decode()
    for name, data in {
        "nul": text.encode().replace(b"0", b"\0"), "binary": random.Random(1).randbytes(4000),
        "none": b"", "blank": b"\n" * 99,
        "marks": b";" * 50, "utf16-odd": text.encode("utf-16")[:-1], "utf16-be": text.encode("utf-16-be"),
        "utf32": text.encode("utf-32"), "bom": b"\xef\xbb\xbf" + text.encode(),
        "two-boms": b"\xef\xbb\xbf" * 2 + text.encode(),
        "latin": text.replace("Pilot", "Pilöt").encode("cp1252"), "mac": text.replace("\n", "\r").encode(),
        "undefined": text.encode() + b"\x81\x8d\x8f", "sep": b"sep=;\n" + text.encode(),
        "headless": text.split("\n", 1)[1].encode(),
        "same": (text + text).encode(), "heading-long": b"x" * 9000 + b"," + text.encode(),
        "heading-yaml": text.replace("Notes", "a: {b}\u2028- c #").encode(),
        "heading-quote": text.replace("Notes", "'\"\\").encode(),
        "ragged": b"Job,Engine,Cyl\n1\n2,a,4,5,6,7,8\n,,,,\n",
    }.items():  # fmt: skip
        yield f"{name}.csv", lambda data=data: data


HOSTILE: tuple[Hostile, ...] = (*_damaged(), *_harmful(), *_odd_cells(), *_odd_values(), *_odd_csv())
