"""Workbooks written part by part, so that a test shows exactly what is in them."""

import io
import zipfile
from xml.sax.saxutils import escape

_MAIN = 'xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"'
_REL = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
_TYPES = (
    '<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types">'
    '<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
    '<Override PartName="/xl/workbook.xml" '
    'ContentType="application/vnd.openxmlformats-officedocument.spreadsheetml.sheet.main+xml"/></Types>'
)


def cell(place: str, value: str | float) -> str:
    """Return a cell: a number, a formula with its last result (``=1+1>2``), or a text."""
    if isinstance(value, float | int):
        return f'<c r="{place}"><v>{value}</v></c>'
    if value.startswith("=") and ">" in value:
        formula, result = value[1:].split(">")
        return f'<c r="{place}"><f>{escape(formula)}</f><v>{result}</v></c>'
    return f'<c r="{place}" t="inlineStr"><is><t xml:space="preserve">{escape(value)}</t></is></c>'


def sheet(rows: list[list[str | float]]) -> str:
    """Return a sheet's XML; empty texts are cells that are not there."""
    lines = []
    for number, row in enumerate(rows, 1):
        cells = [cell(f"{_letters(i)}{number}", value) for i, value in enumerate(row) if value != ""]
        lines.append(f'<row r="{number}">{"".join(cells)}</row>')
    return f"<worksheet {_MAIN}><sheetData>{''.join(lines)}</sheetData></worksheet>"


def xlsx(sheets: dict[str, str], hidden: tuple[str, ...] = (), extra: dict[str, str] | None = None) -> bytes:
    """Return a workbook of sheets given as XML by name."""
    names = "".join(
        f'<sheet name="{name}" sheetId="{i}" r:id="r{i}" state="{"hidden" if name in hidden else "visible"}"/>'
        for i, name in enumerate(sheets, 1)
    )
    links = "".join(
        f'<Relationship Id="r{i}" Type="{_REL}/worksheet" Target="worksheets/sheet{i}.xml"/>'
        for i in range(1, len(sheets) + 1)
    )
    package = "http://schemas.openxmlformats.org/package/2006/relationships"
    parts = {
        "[Content_Types].xml": _TYPES,
        "_rels/.rels": f'<Relationships xmlns="{package}"><Relationship Id="r1" Type="{_REL}/officeDocument" '
        'Target="xl/workbook.xml"/></Relationships>',
        "xl/workbook.xml": f'<workbook {_MAIN} xmlns:r="{_REL}"><sheets>{names}</sheets></workbook>',
        "xl/_rels/workbook.xml.rels": f'<Relationships xmlns="{package}">{links}</Relationships>',
        **{f"xl/worksheets/sheet{i}.xml": text for i, text in enumerate(sheets.values(), 1)},
        **(extra or {}),
    }
    return archive(parts)


def ods(rows: list[list[str]]) -> bytes:
    """Return an OpenDocument spreadsheet of texts."""
    office = "urn:oasis:names:tc:opendocument:xmlns:office:1.0"
    table = "urn:oasis:names:tc:opendocument:xmlns:table:1.0"
    text = "urn:oasis:names:tc:opendocument:xmlns:text:1.0"
    lines = "".join(
        "<table:table-row>"
        + "".join(
            f'<table:table-cell office:value-type="string"><text:p>{escape(value)}</text:p></table:table-cell>'
            for value in row
        )
        + "</table:table-row>"
        for row in rows
    )
    content = (
        f'<office:document-content xmlns:office="{office}" xmlns:table="{table}" xmlns:text="{text}"><office:body>'
        f'<office:spreadsheet><table:table table:name="one">{lines}</table:table></office:spreadsheet>'
        "</office:body></office:document-content>"
    )
    kind = "application/vnd.oasis.opendocument.spreadsheet"
    manifest = (
        '<manifest:manifest xmlns:manifest="urn:oasis:names:tc:opendocument:xmlns:manifest:1.0">'
        f'<manifest:file-entry manifest:full-path="/" manifest:media-type="{kind}"/></manifest:manifest>'
    )
    return archive({"mimetype": kind, "META-INF/manifest.xml": manifest, "content.xml": content})


def archive(parts: dict[str, str] | dict[str, bytes]) -> bytes:
    """Return a zip archive of texts or bytes."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as made:
        for name, text in parts.items():
            # OpenDocument wants its first part unpacked.
            made.writestr(name, text, zipfile.ZIP_STORED if name == "mimetype" else None)
    return out.getvalue()


def _letters(column: int) -> str:
    """Return a column's letters, 0 is A."""
    letters = ""
    column += 1
    while column:
        column, rest = divmod(column - 1, 26)
        letters = chr(65 + rest) + letters
    return letters
