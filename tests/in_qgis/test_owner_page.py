"""ownerpage writes PDFs; what stands in them is read back by other means, metadata and packed streams included."""

import re
import subprocess

import pdf_reading
import pytest
from algorithm_runs import content_hash, refusal, run
from fallkeeper.sample_project import rows as sample_rows
from fallkeeper.sample_project.build_sample import write_archive
from qgis.core import QgsVectorLayer
from running import county_layers

PRIVATE = {
    "Tarrowick Farm": ("tess 555-0101", "P-1001", "T keeps bees"),
    "Ebbing Kiln Farm": ("kim 555-0102", "P-2002", "K owes a bill"),
    "Low Sedge Farm": ("mo 555-0103", "P-3003", "M may sell"),
    "Meeting hall": ("hal 555-0104", "P-4004", "H has a key"),
    "Ossel County": ("desk 555-0105", "P-5005", "C asks first"),
}
PLUG = f"{sample_rows.ORIGIN_FT[0] + 1000},{sample_rows.ORIGIN_FT[1] + 905} [{sample_rows.CRS}]"

pytestmark = pytest.mark.usefixtures("provider")


@pytest.fixture(scope="module")
def archive(qgis_app, tmp_path_factory):
    """The sample with something private about every owner."""
    path = tmp_path_factory.mktemp("owner pages ä") / "county.gpkg"
    write_archive(path)
    land = QgsVectorLayer(f"{path}|layername=land", "land", "ogr")
    fields = land.fields()
    assert land.startEditing()
    for feature in land.getFeatures():
        for name, value in zip(("contact", "parcel_no", "note"), PRIVATE[feature["owner"]]):
            land.changeAttributeValue(feature.id(), fields.lookupField(name), value)
    assert land.commitChanges()
    return {key: f"{path}|layername={name}" for key, name in (
        ("DRAINS", "drains"), ("STRUCTURES", "structures"), ("LAND", "land"))}, path


def heard_of_others(data, name):
    """What of the others' private words can be found anywhere in the file."""
    drawn = pdf_reading.squashed(pdf_reading.page_text(data))
    anywhere = drawn + pdf_reading.squashed(pdf_reading.everything(data) + pdf_reading.metadata(data))
    words = [word for other, private in PRIVATE.items() if other != name for word in (other, *private)]
    found = [word for word in words if pdf_reading.squashed(word) in anywhere]
    fields = {"Tarrowick Farm": ("F3-", "F4-", "F7-", "F8-", "Heronmoor", "Hall Lot")}.get(name, ())
    return found + [word for word in fields if pdf_reading.squashed(word) in drawn]


def test_a43_the_page_of_one_owner(archive, tmp_path):
    inputs, path = archive
    before = content_hash(path)
    file = tmp_path / "page.pdf"
    ran = run("ownerpage", **inputs, OWNER="tarrowick farm", POINT=PLUG, OUTPUT=str(file))
    data = file.read_bytes()
    text = pdf_reading.squashed(pdf_reading.page_text(data))
    for words in ("Drains under the land of Tarrowick Farm", "46.0 acres drain through the place asked about",
                  "40.7 of them not yours", "P-1001", "Main A", "Locate buried utilities"):
        assert pdf_reading.squashed(words) in text, words
    assert heard_of_others(data, "Tarrowick Farm") == []
    assert "Fallkeeper" in pdf_reading.everything(data)
    assert (ran["OUTPUT"], ran["PAGE_COUNT"]) == (str(file), 1)
    assert content_hash(path) == before


def test_a43_the_pages_of_all_owners_each_his_own(archive, tmp_path):
    inputs, _ = archive
    ran = run("ownerpage", **inputs, FOLDER=str(tmp_path / "pages"), POINT=PLUG)
    files = sorted((tmp_path / "pages").glob("*.pdf"))
    assert ran["PAGE_COUNT"] == len(files) == len(PRIVATE)
    for file in files:
        data = file.read_bytes()
        assert pdf_reading.squashed(file.stem) in pdf_reading.squashed(pdf_reading.page_text(data))
        assert heard_of_others(data, file.stem) == [], file.stem


def test_another_reader_finds_the_same(archive, tmp_path):
    inputs, _ = archive
    file = tmp_path / "page.pdf"
    run("ownerpage", **inputs, OWNER="Ebbing Kiln Farm", OUTPUT=str(file))
    text = subprocess.run(["pdftotext", "-layout", str(file), "-"], capture_output=True, check=True).stdout.decode()
    assert "Drains under the land of Ebbing Kiln Farm" in text
    for other in ("Tarrowick", "Sedge", "Meeting hall", "555-0101", "P-1001", "keeps bees"):
        assert other not in text
    assert "F3" in text
    assert not re.search(r"\bF[1256]\b", text), "fields of the others"


@pytest.mark.parametrize(("crs", "units", "size"), [
    ("EPSG:3734", "us", (612, 792)), ("EPSG:26917", "metric", (595, 842)),
])
def test_letter_in_us_units_and_a4_in_metric(crs, units, size, tmp_path):
    layers = county_layers(crs)
    file = tmp_path / "page.pdf"
    run("ownerpage", DRAINS=layers["drains"], STRUCTURES=layers["structures"], LAND=layers["land"],
        OWNER="Low Sedge Farm", UNITS=units, OUTPUT=str(file))
    boxes = pdf_reading.page_sizes(file.read_bytes())
    assert boxes
    assert all((round(w), round(h)) == size for w, h in boxes)


def test_what_is_not_there_is_said(archive, tmp_path):
    inputs, _ = archive
    said = refusal("ownerpage", **inputs, OWNER="Nobody", OUTPUT=str(tmp_path / "x.pdf"))
    assert "No land of 'Nobody'" in said
    assert "Tarrowick Farm" in said
    assert "Name an owner, or choose a folder" in refusal("ownerpage", **inputs)
    folder = tmp_path / "not there" / "page.pdf"
    assert "cannot be written" in refusal("ownerpage", **inputs, OWNER="Meeting hall", OUTPUT=str(folder))
