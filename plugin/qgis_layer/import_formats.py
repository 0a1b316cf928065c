"""How files of each kind are opened: by which driver, with which letters, and what people call them."""

from __future__ import annotations

import contextlib
import uuid
import zipfile
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

from osgeo import gdal

from ..importing.text_table import EncodingError, TextTable, decode, guess_encoding, read_table
from .import_columns import Complaints

_DXF_ENCODING_MARK = b"$DWGCODEPAGE"


class ImportFileError(ValueError):
    """A file cannot be taken in; the message says why and what to do."""


@dataclass(frozen=True)
class Format:
    """What people call a kind of file, its drivers, and whether it is written as text."""

    words: str
    drivers: tuple[str, ...]
    text: bool = False


FORMATS = {
    ".gpkg": Format("GeoPackage", ("GPKG",)),
    ".shp": Format("Shapefile", ("ESRI Shapefile",)),
    ".dbf": Format("dBASE table", ("ESRI Shapefile",)),
    ".geojson": Format("GeoJSON", ("GeoJSON",), True),
    ".json": Format("GeoJSON", ("GeoJSON", "ESRIJSON", "TopoJSON"), True),
    ".kml": Format("KML", ("LIBKML", "KML"), True),
    ".kmz": Format("KMZ", ("LIBKML", "KML")),
    ".dxf": Format("DXF drawing", ("DXF",)),
    ".gpx": Format("GPX", ("GPX",), True),
    ".csv": Format("CSV table", ("CSV",), True),
    ".txt": Format("text table", ("CSV",), True),
    ".tsv": Format("text table", ("CSV",), True),
    ".log": Format("text table", ("CSV",), True),
}
OTHER = Format("file", ())
_TABLES = ("CSV",)
_PARTS_OF_SHAPEFILE = (".shx", ".dbf")


@dataclass
class Opened:
    """A file that OGR has open. `table`: where a text table was brought into form, its line numbers."""

    dataset: gdal.Dataset
    format: Format
    complaints: Complaints
    said: list[str] = field(default_factory=list)
    table: TextTable | None = None


@contextlib.contextmanager
def opened(path: str, encoding: str = "") -> Iterator[Opened]:
    """Open a file to read; it is closed, and nothing is left of copies in memory. Raises ImportFileError."""
    file, format_ = Path(path), FORMATS.get(Path(path).suffix.lower(), OTHER)
    _check_file(file)
    memory = ""
    said: list[str] = []
    table = None
    options: list[str] = []
    name = path
    with _settings(format_), Complaints() as complaints:
        if format_.words in ("Shapefile", "dBASE table"):
            options, said = _shapefile_letters(file, encoding)
        elif format_.text:
            text, sentence = _text_of(file, encoding)
            said = [sentence] if sentence else []
            if format_.drivers == _TABLES:
                table = read_table(text)
                named = "YES" if table.named else "NO"
                text, options = table.text, ["AUTODETECT_TYPE=NO", f"HEADERS={named}"]
            if sentence or encoding or table is not None:
                memory = f"/vsimem/{uuid.uuid4().hex}/{file.stem}{file.suffix if table is None else '.csv'}"
                gdal.FileFromMemBuffer(memory, text.encode("utf-8"))
                name = memory
        elif file.suffix.lower() == ".zip":
            name = f"/vsizip/{path}"
        elif file.suffix.lower() == ".kmz":
            # read as KML: as KMZ the driver loses fields of nested documents
            inner, said = _main_of_kmz(file)
            name = f"/vsizip/{{{path}}}/{inner}"
        dataset = None
        try:
            dataset = _open(name, file, format_, options, complaints)
            yield Opened(dataset, format_, complaints, said, table)
        finally:
            del dataset
            if memory:
                gdal.Unlink(memory)


def _check_file(file: Path) -> None:
    if not file.exists():
        raise ImportFileError(f"There is no file {file}: choose another.")
    if file.is_dir() and file.suffix.lower() == ".gdb":
        return
    if file.is_dir():
        raise ImportFileError(f"{file} is a folder: choose the file in it.")
    if not file.stat().st_size:
        raise ImportFileError(f"The file {file.name} is empty: ask for it again.")
    if file.suffix.lower() == ".shp":
        lacking = [end for end in _PARTS_OF_SHAPEFILE if not _beside(file, end)]
        if ".shx" in lacking:
            raise ImportFileError(
                f"{file.name} comes without its {', '.join(lacking)}: a Shapefile is several files of one name; ask "
                "for all of them, best in a zip."
            )


def _beside(file: Path, ending: str) -> Path | None:
    """The file of the same name with another ending, in small or capital letters."""
    for own in (ending, ending.upper()):
        if file.with_suffix(own).exists():
            return file.with_suffix(own)
    return None


@contextlib.contextmanager
def _settings(format_: Format) -> Iterator[None]:
    """Blocks of a drawing stay points with a name instead of the strokes of their symbol. Of this thread only."""
    name = "DXF_INLINE_BLOCKS"
    before = gdal.GetThreadLocalConfigOption(name) if hasattr(gdal, "GetThreadLocalConfigOption") else None
    if format_.words == "DXF drawing" and hasattr(gdal, "SetThreadLocalConfigOption"):
        gdal.SetThreadLocalConfigOption(name, "FALSE")
    try:
        yield
    finally:
        if format_.words == "DXF drawing" and hasattr(gdal, "SetThreadLocalConfigOption"):
            gdal.SetThreadLocalConfigOption(name, before)


def _open(name: str, file: Path, format_: Format, options: list[str], complaints: Complaints) -> gdal.Dataset:
    dataset = None
    for drivers in ([one] for one in format_.drivers) if format_.drivers else (None,):
        keywords = {"allowed_drivers": drivers} if drivers else {}
        try:
            dataset = gdal.OpenEx(name, gdal.OF_VECTOR | gdal.OF_READONLY, open_options=options, **keywords)
        except RuntimeError:  # whether GDAL raises is a setting of the whole process
            dataset = None
        if dataset is not None and (format_.drivers != _TABLES or _has_columns(dataset)):
            complaints.last = ""  # of drivers that were tried in vain
            return dataset
    why = complaints.last.replace(name, file.name)
    said = f" ({why})" if why else ""
    known = format_.words if format_.drivers else "file QGIS can read"
    raise ImportFileError(
        f"{file.name} cannot be opened as a {known}{said}: it may be damaged or of another kind. Ask for it again, or "
        "save it anew with the program that made it."
    )


def _main_of_kmz(file: Path) -> tuple[str, list[str]]:
    """The KML in a KMZ that counts, and a sentence about others in it."""
    try:
        with zipfile.ZipFile(file) as held:
            names = [name for name in held.namelist() if name.lower().endswith(".kml")]
    except zipfile.BadZipFile:
        names = []
    if not names:
        raise ImportFileError(f"{file.name} holds no KML: it may be damaged. Ask for it again.")
    main = "doc.kml" if "doc.kml" in names else names[0]
    others = [name for name in names if name != main]
    said = f"{file.name} holds further files that were not read: {', '.join(others)}. Unpack it to take them in."
    return main, [said] if others else []


def _has_columns(dataset: gdal.Dataset) -> bool:
    """Newer versions of GDAL open any text as a table, if need be as one without columns."""
    return bool(dataset.GetLayerCount()) and dataset.GetLayer(0).GetLayerDefn().GetFieldCount() > 0


def _text_of(file: Path, encoding: str) -> tuple[str, str]:
    """The text of a file and a sentence about its letters; XML that names its own encoding is read by that."""
    held = file.read_bytes()
    start = held[:200].lower()
    if b"encoding=" in start and not encoding:
        declared = start.split(b"encoding=", 1)[1][1:40].split(b'"')[0].split(b"'")[0].decode("ascii", "ignore")
        if declared.replace("-", "") != "utf8":
            return "", ""
    try:
        return decode(held, encoding)
    except EncodingError as fault:
        raise ImportFileError(f"{file.name}: {fault}") from None


def _shapefile_letters(file: Path, encoding: str) -> tuple[list[str], list[str]]:
    """The option that tells OGR the letters of the table beside a Shapefile, and what is to be said of them."""
    table = _beside(file, ".dbf")
    if encoding:
        return [f"ENCODING={encoding}"], []
    if table is None:
        return [], [f"{file.name} comes without its .dbf: only its shapes are known, no names or sizes."]
    declared = ""
    mark = _beside(file, ".cpg")
    if mark is not None:
        declared = mark.read_text(encoding="ascii", errors="ignore").strip()
    held = table.read_bytes()
    if not declared and len(held) > 29 and held[29] in (0x03, 0x57, 0x13):
        declared = "cp1252" if held[29] != 0x13 else "cp932"
    found, said = guess_encoding(held[32:], declared)
    return [f"ENCODING={found}"], [said] if said else []
