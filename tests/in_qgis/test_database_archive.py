"""Archives in a database: made whole or not at all, ready to be opened, and used by the algorithms like a file."""

import io
import zipfile

import pytest
from database_places import database_of, logins, new_place, stored_connection
from database_server import BARE
from fallkeeper.plugin.qgis_layer.archive import create_archive, open_layer
from fallkeeper.plugin.qgis_layer.archive_error import ArchiveError
from fallkeeper.plugin.qgis_layer.archive_info import ArchiveInfo
from fallkeeper.plugin.qgis_layer.database_archive import create_database_archive
from fallkeeper.plugin.qgis_layer.database_finish import finish_database_archive
from fallkeeper.plugin.qgis_layer.database_place import DatabasePlace
from fallkeeper.plugin.qgis_layer.project import add_archive
from fallkeeper.plugin.qgis_layer.sample import fill_with_sample
from fallkeeper.plugin.schema import LAYERS
from fallkeeper.plugin.units import US
from fallkeeper.processing_algs.provider import FallkeeperProvider
from qgis.core import (
    NULL,
    QgsApplication,
    QgsCoordinateReferenceSystem,
    QgsDataProvider,
    QgsFeature,
    QgsGeometry,
    QgsProcessingException,
    QgsProject,
    QgsVectorLayer,
    QgsVectorLayerUtils,
)

FEET = "EPSG:3734"
TO_MEMORY = dict.fromkeys(("LINE_FINDINGS", "POINT_FINDINGS", "NOT_CHECKED"), "TEMPORARY_OUTPUT")
LINE = "LineString(2100000 800000, 2100100 800000)"


def crs(authority=FEET):
    return QgsCoordinateReferenceSystem(authority)


@pytest.fixture
def place(qgis_app, database_server):
    made = new_place(database_server)
    create_database_archive(made, crs())
    return made


@pytest.fixture(scope="module")
def run(qgis_processing):
    import processing

    provider = FallkeeperProvider()
    registry = QgsApplication.processingRegistry()
    assert registry.addProvider(provider)
    yield lambda name, **parameters: processing.run(f"fallkeeper:{name}", parameters)
    registry.removeProvider(provider)


@pytest.fixture(scope="module")
def ready_place(run, database_server):
    """The sample in a database as the algorithm makes it, with styles, project and roles; only notes change."""
    place = new_place(database_server, "ossel flats")
    with stored_connection(place) as name:
        result = run("createarchive", CRS=FEET, SAMPLE=True, CONNECTION=name, SCHEMA=place.schema)
        assert result["OUTPUT"].startswith("postgres://")
        assert "user=" not in result["OUTPUT"]
        assert "user=" in DatabasePlace.of_connection(name, place.schema).uri
    return place


def sample_file(folder):
    path = folder / "sample.gpkg"
    create_archive(path, crs())
    fill_with_sample(path, crs(), US)
    return path


def new_drain(drains, **values):
    fields = {drains.fields().indexOf(name): value for name, value in values.items()}
    return QgsVectorLayerUtils.createFeature(drains, QgsGeometry.fromWkt(LINE), fields)


def test_every_layer_opens_in_its_system_and_says_its_units(place):
    for declared in LAYERS:
        opened = open_layer(place, declared.name)
        assert {field.name for field in declared.fields} <= set(opened.fields().names())
        assert opened.isSpatial() == bool(declared.geometry)
        assert not declared.geometry or opened.crs() == crs()
    about = ArchiveInfo.beside(open_layer(place, "drains"))
    assert (about.name, about.units, about.limits) == ("county", "us", [])


def test_the_algorithm_fills_in_the_sample(ready_place):
    drains = open_layer(ready_place, "drains")
    assert drains.featureCount() == 155
    assert ArchiveInfo.beside(drains).name == "ossel flats"


def test_a_layer_of_another_schema_lies_in_no_archive(place, database_server):
    database_server.sql("CREATE TABLE roads (fid serial PRIMARY KEY, geom geometry(Point, 3734))", database_of(place))
    source = place.layer_source("shots").replace('"county"."shots"', '"public"."roads"')
    layer = QgsVectorLayer(source, "roads", "postgres")
    assert layer.isValid()
    assert DatabasePlace.of_layer(layer).schema == "public"
    assert ArchiveInfo.beside(layer) == ArchiveInfo()


@pytest.mark.parametrize("by_provider", [False, True])
def test_rows_are_added_with_a_key_a_name_and_a_history(place, by_provider):
    """With either setting of QGIS: default values from the form, or from the server before saving."""
    drains = open_layer(place, "drains")
    drains.dataProvider().setProviderProperty(QgsDataProvider.ProviderProperty.EvaluateDefaultValues, by_provider)
    drains.startEditing()
    assert drains.addFeature(new_drain(drains, role="main"))
    assert drains.commitChanges(), drains.commitErrors()
    row = next(open_layer(place, "drains").getFeatures())
    assert len(row["drain_id"]) == 36
    assert row["diameter"] == NULL
    history = list(open_layer(place, "history").getFeatures())
    assert [(entry["key"], entry["action"]) for entry in history] == [(row["drain_id"], "insert")]


def test_a_refused_row_keeps_the_edit_session_and_says_why(place):
    drains = open_layer(place, "drains")
    drains.startEditing()
    drains.addFeature(new_drain(drains, role="main", diameter=-4.0))
    assert not drains.commitChanges()
    assert any("Inside diameter must be a number above 0" in line for line in drains.commitErrors())
    assert drains.isEditable()
    assert open_layer(place, "drains").featureCount() == 0
    drains.rollBack()


def test_forms_symbols_and_a_project_come_from_the_database(ready_place, monkeypatch, qgis_new_project):
    monkeypatch.setenv("PGUSER", "postgres")
    drains = open_layer(ready_place, "drains")
    assert drains.renderer().type() == "RuleRenderer"
    assert drains.attributeAlias(drains.fields().indexOf("diameter")) == "Inside diameter (in)"
    server = ready_place.uri.split("port=")[1].split()[0]
    stored = f"postgresql://127.0.0.1:{server}?dbname={database_of(ready_place)}&schema=ossel%20flats&project=Fallkeeper"
    project = QgsProject.instance()
    assert project.read(stored)
    assert len(project.mapLayers()) == len(LAYERS)
    assert all(layer.isValid() for layer in project.mapLayers().values())
    assert len(project.relationManager().relations()) == 11
    assert project.topologicalEditing()
    project.clear()


def test_the_stored_project_and_styles_hold_no_login(qgis_app, database_server):
    bare = new_place(database_server)
    place = DatabasePlace(bare.uri + " password='it\\'s \"secret\" & <mine>'", bare.schema)
    create_database_archive(place, crs())
    assert finish_database_archive(place, US) == []
    ((content,),) = place.rows("SELECT encode(content, 'hex') FROM county.qgis_projects")
    with zipfile.ZipFile(io.BytesIO(bytes.fromhex(content))) as project:
        texts = [project.read(name).decode("utf-8", "replace") for name in project.namelist()]
    ((styles,),) = place.rows("SELECT string_agg(styleqml::text, '') FROM public.layer_styles")
    for text in (*texts, styles):
        assert "secret" not in text
        assert " user=" not in text
        assert "mine" not in text
    assert any('"county"."drains"' in text or "county&quot;.&quot;drains" in text for text in texts)


def test_the_history_names_the_database_user(ready_place, database_server):
    edit = f"{database_of(ready_place)}_ossel flats_edit"
    with logins(database_server, ready_place, anna=(edit,), carl=()) as places:
        drains = open_layer(places["anna"], "drains")
        drains.startEditing()
        feature = next(drains.getFeatures("drain_id = 'F1-01'"))
        drains.changeAttributeValue(feature.id(), drains.fields().indexOf("note"), "seen today")
        assert drains.commitChanges(), drains.commitErrors()
        assert drains.renderer().type() == "RuleRenderer"
        last = max(open_layer(places["anna"], "history").getFeatures(), key=lambda entry: entry["seq"])
        assert (last["key"], last["action"]) == ("F1-01", "update")
        assert last["who"].endswith(" (anna)")  # before it the name QGIS knows, which its form put into edited_by
        with pytest.raises(ArchiveError, match="may you read it"):
            open_layer(places["carl"], "drains")


def test_a_reader_sees_and_changes_nothing(ready_place, database_server):
    read = f"{database_of(ready_place)}_ossel flats_read"
    with logins(database_server, ready_place, rita=(read,)) as places:
        drains = open_layer(places["rita"], "drains")
        assert drains.featureCount() == 155
        assert not drains.startEditing()
        assert drains.attributeAlias(drains.fields().indexOf("diameter")) == "Inside diameter (in)"


def test_checks_find_the_same_in_a_file_and_in_a_database(ready_place, tmp_path, run):
    path = sample_file(tmp_path)
    found = []
    for place in (path, ready_place):
        names = ("drains", "structures", "shots", "land", "trees")
        layers = {name: open_layer(place, name) for name in names}
        result = run("checkdrains", DRAINS=layers["drains"], STRUCTURES=layers["structures"], SHOTS=layers["shots"],
                     LAND=layers["land"], TREES=[layers["trees"]], **TO_MEMORY)
        rows = [
            tuple(row[name] for name in ("check", "drain_id", "station_from", "station_to", "value", "unit"))
            for sink in ("LINE_FINDINGS", "POINT_FINDINGS")
            for row in result[sink].getFeatures()
        ]
        found.append(sorted(map(str, rows)))
    assert found[0] == found[1]
    assert len(found[0]) > 10


# What stands in the way, one sentence each


def test_an_archive_with_rows_is_never_overwritten(ready_place, run):
    with stored_connection(ready_place) as name, pytest.raises(QgsProcessingException, match="already holds rows"):
        run("createarchive", CRS=FEET, CONNECTION=name, SCHEMA=ready_place.schema)
    with pytest.raises(ArchiveError, match=r"already holds rows \(in drains\): nothing is overwritten"):
        create_database_archive(ready_place, crs())
    assert open_layer(ready_place, "drains").featureCount() == 155


def test_an_archive_without_rows_is_made_anew(place):
    create_database_archive(place, crs("EPSG:32617"))
    assert open_layer(place, "drains").crs() == crs("EPSG:32617")
    assert ArchiveInfo.beside(open_layer(place, "drains")).units == "metric"


def test_an_archive_whose_rows_were_all_deleted_is_kept(place):
    drains = open_layer(place, "drains")
    drains.startEditing()
    drains.addFeature(new_drain(drains, role="main"))
    assert drains.commitChanges(stopEditing=False)
    drains.deleteFeature(next(drains.getFeatures()).id())
    assert drains.commitChanges()
    with pytest.raises(ArchiveError, match=r"already holds rows \(in history\)"):
        create_database_archive(place, crs())


def test_a_schema_with_a_table_of_that_name_is_left_alone(qgis_app, database_server):
    place = new_place(database_server)
    database_server.sql("CREATE SCHEMA county; CREATE TABLE county.land (x int)", database_of(place))
    with pytest.raises(ArchiveError, match="holds a table 'land' and is no archive of Fallkeeper"):
        create_database_archive(place, crs())
    assert place.rows("SELECT count(*) FROM pg_tables WHERE schemaname = 'county'") == [[1]]


def test_a_schema_that_holds_something_else_takes_an_archive_in(qgis_app, database_server):
    place = new_place(database_server, "public")
    create_database_archive(place, crs())
    assert open_layer(place, "drains").featureCount() == 0


@pytest.mark.parametrize(
    ("authority", "sentence"),
    [
        ("EPSG:4326", "is in degrees"),
        ("", "No coordinate reference system is given"),
        ("PROJ:+proj=tmerc +lon_0=5 +units=m", "PostGIS does not know"),
    ],
)
def test_a_crs_that_cannot_be_used_is_refused(qgis_app, database_server, authority, sentence):
    place = new_place(database_server)
    with pytest.raises(ArchiveError, match=sentence):
        create_database_archive(place, crs(authority))
    assert place.rows("SELECT count(*) FROM pg_namespace WHERE nspname = 'county'") == [[0]]


def test_a_database_without_postgis_says_what_to_run(qgis_app, database_server):
    place = new_place(database_server, database=database_server.new_database(BARE))
    with pytest.raises(ArchiveError, match=r"has no PostGIS: let its administrator run CREATE EXTENSION postgis;"):
        create_database_archive(place, crs())


def test_an_old_server_is_named(place, monkeypatch):
    from fallkeeper.plugin.qgis_layer import database_server as facts

    monkeypatch.setattr(facts, "LEAST_POSTGRES", 990_000)
    with pytest.raises(ArchiveError, match=r"has PostgreSQL 1\d.*, and an archive needs 99 or newer"):
        create_database_archive(place, crs())


@pytest.mark.parametrize(
    ("schema", "sentence"), [("", "No schema"), ("pg_drains", "No schema"), ("x" * 60, "too long")]
)
def test_a_schema_that_cannot_be_is_refused(qgis_app, database_server, schema, sentence):
    with pytest.raises(ArchiveError, match=sentence):
        create_database_archive(new_place(database_server, schema), crs())


def test_a_server_that_does_not_answer_is_one_sentence(qgis_app):
    place = DatabasePlace("host=127.0.0.1 port=1 dbname='x' user='y'", "county")
    with pytest.raises(ArchiveError, match="does not answer, nothing was changed in the schema 'county' of x"):
        create_database_archive(place, crs())
    with pytest.raises(ArchiveError, match="does the server answer"):
        open_layer(place, "drains")


def test_a_server_gone_in_the_middle_leaves_nothing(qgis_app, database_server):
    place = new_place(database_server)

    def stop_half_way(server, srid):
        yield "INSERT INTO county.archive (name) VALUES ('half')"
        database_server.stop()
        yield "INSERT INTO county.limits (name) VALUES ('half')"

    try:
        with pytest.raises(ArchiveError, match="nothing was changed"):
            create_database_archive(place, crs(), fill=stop_half_way)
    finally:
        database_server.start()
    assert place.rows("SELECT count(*) FROM pg_namespace WHERE nspname = 'county'") == [[0]]
    create_database_archive(place, crs())


def test_a_user_without_rights_learns_what_to_have_run(qgis_app, database_server):
    place = new_place(database_server)
    database = database_of(place)
    with logins(database_server, place, bert=()) as places:
        with pytest.raises(ArchiveError) as refused:
            create_database_archive(places["bert"], crs())
        order = str(refused.value).split("run ")[1].split(";")[0]
        assert order == 'CREATE SCHEMA "county" AUTHORIZATION "bert"'
        database_server.sql("CREATE SCHEMA county", database)
        with pytest.raises(ArchiveError) as refused:
            create_database_archive(places["bert"], crs())
        database_server.sql(str(refused.value).split("run ")[1].split(";")[0], database)
        create_database_archive(places["bert"], crs())
        assert open_layer(places["bert"], "drains").featureCount() == 0


def test_an_owner_who_may_make_no_roles_gets_the_order_for_the_administrator(qgis_app, database_server):
    place = new_place(database_server)
    database = database_of(place)
    with logins(database_server, place, bert=(), anna=()) as places:
        orders = "CREATE SCHEMA county AUTHORIZATION bert; REVOKE CREATE ON SCHEMA public FROM PUBLIC"
        database_server.sql(orders, database)
        create_database_archive(places["bert"], crs())
        styles, roles = finish_database_archive(places["bert"], US)
        assert "Forms and symbols could not be stored" in styles
        assert "permission denied to create role" in roles
        database_server.sql(roles.split(f"runs in {database}: ")[1], database)
        database_server.sql(f'GRANT "{database}_county_edit" TO anna', database)
        project = QgsProject()
        layers = add_archive(project, places["anna"])
        assert layers["drains"].attributeAlias(layers["drains"].fields().indexOf("diameter")) == "Inside diameter (in)"
        layers["drains"].startEditing()
        layers["drains"].addFeature(new_drain(layers["drains"], role="main"))
        assert layers["drains"].commitChanges()
        database_server.sql("DROP SCHEMA county CASCADE", database)
        for role in (f'"{database}_county_edit"', f'"{database}_county_read"'):
            database_server.sql(f"DROP OWNED BY {role}; DROP ROLE {role}", database)


# The algorithm


def test_run_from_the_toolbox_the_layers_arrive_in_groups(run, database_server, qgis_new_project):
    import processing

    with stored_connection(new_place(database_server)) as name:
        parameters = {"CRS": FEET, "CONNECTION": name, "SCHEMA": "county", "OUTPUT": "TEMPORARY_OUTPUT"}
        processing.runAndLoadResults("fallkeeper:createarchive", parameters)
    project = QgsProject.instance()
    assert len(project.mapLayers()) == len(LAYERS)
    assert project.mapLayersByName("Drains (tile)")[0].renderer().type() == "RuleRenderer"
    project.clear()


def test_the_algorithm_asks_for_a_file_or_a_connection(run, qgis_app):
    with pytest.raises(QgsProcessingException, match="Name the file of the archive, or choose a database connection"):
        run("createarchive", CRS=FEET)
    with pytest.raises(QgsProcessingException, match="no PostgreSQL connection called 'nowhere'"):
        run("createarchive", CRS=FEET, CONNECTION="nowhere", SCHEMA="county")


def test_features_of_qgis_keep_every_digit(place):
    drains = open_layer(place, "drains")
    level, line = 0.1 + 0.2, "LineString(2100000.1000000001 800000.33333333337, 2100100.7 800000.9)"
    feature = QgsFeature(drains.fields())
    feature["drain_id"], feature["role"], feature["invert_start"] = "A", "main", level
    feature.setGeometry(QgsGeometry.fromWkt(line))
    assert drains.dataProvider().addFeatures([feature])[0]
    read = next(open_layer(place, "drains").getFeatures())
    assert read["invert_start"] == level
    assert bytes(read.geometry().asWkb()) == bytes(QgsGeometry.fromWkt(line).asWkb())
