"""Rules the source keeps so that it runs on Windows, on Python 3.9 and on both generations of Qt."""

import ast
import re

import pytest
import sources

every_file = pytest.mark.parametrize("path", sources.all_files(), ids=lambda path: path.as_posix())
every_shipped_file = pytest.mark.parametrize("path", sources.shipped_files(), ids=lambda path: path.as_posix())

MOST_LINES = 320  # 300 is meant; a few more are no reason to split a file
TEXT_CALLS = {"open", "read_text", "write_text", "NamedTemporaryFile", "TemporaryFile"}

# enumerations by themselves, so that their members need no further scope, and a class whose members every Qt knows
ENUMERATIONS = {"QVariant", "QgsMapLayerType"}

# written in two halves, so that this file keeps the rule too
UNFIT_WORDS = ("trans" "cript", "seed " "document", "TO" "DO", "FIX" "ME", "X" "XX", "NotImplemented" "Error")
MACHINE_PATH = re.compile("/ro" "ot/|/ho" "me/[a-z]|/wo" "rk/")


def problems(path, found):
    return "\n".join(f"{path}:{line}: {what}" for line, what in sorted(found))


def calls(path):
    for node in ast.walk(sources.tree_of(path)):
        if isinstance(node, ast.Call):
            function = node.func
            yield node, function.attr if isinstance(function, ast.Attribute) else getattr(function, "id", "")


def keywords(call):
    return {keyword.arg: keyword.value for keyword in call.keywords}


@every_file
def test_syntax_is_python_3_9(path):
    tree = sources.tree_of(path)
    found = []
    for call, name in calls(path):
        if name == "zip" and "strict" in keywords(call):
            found.append((call.lineno, "zip(strict=) is Python 3.10"))
        if name == "dataclass" and {"slots", "kw_only"} & set(keywords(call)):
            found.append((call.lineno, "dataclass slots and kw_only are Python 3.10"))
        if name == "isinstance" and isinstance(call.args[-1], ast.BinOp):
            found.append((call.lineno, "isinstance takes a tuple in Python 3.9"))
    postponed = any(isinstance(node, ast.ImportFrom) and node.module == "__future__" for node in tree.body)
    if not postponed:
        found += [(line, "X | Y in an annotation needs `from __future__ import annotations`") for line in unions(tree)]
    assert not found, problems(path, found)


def unions(tree):
    """Lines of annotations that hold `X | Y`."""
    for node in ast.walk(tree):
        for annotation in (getattr(node, "annotation", None), getattr(node, "returns", None)):
            if annotation is not None and any(
                isinstance(inner, ast.BinOp) and isinstance(inner.op, ast.BitOr) for inner in ast.walk(annotation)
            ):
                yield annotation.lineno


@every_file
def test_text_files_state_their_encoding(path):
    found = [
        (call.lineno, f"{name} without encoding")
        for call, name in calls(path)
        if name in TEXT_CALLS and "encoding" not in keywords(call) and not opens_bytes(call) and opens_files(call)
    ]
    assert not found, problems(path, found)


def opens_bytes(call):
    """Whether some argument is a mode with b in it, or the call is tempfile's, whose default mode is w+b."""
    given = [*call.args, *(value for name, value in keywords(call).items() if name == "mode")]
    modes = [a.value for a in given if isinstance(a, ast.Constant) and isinstance(a.value, str)]
    temporary = getattr(call.func, "attr", "").endswith("TemporaryFile") and "mode" not in keywords(call)
    return temporary or any(re.fullmatch("[rwax+t]*b[rwax+t]*", mode) for mode in modes)


def opens_files(call):
    """`open` is also a method of things that are no text file: images, rasters, zip members, layers."""
    function = call.func
    if not isinstance(function, ast.Attribute) or function.attr != "open":
        return True
    return isinstance(function.value, ast.Name) and function.value.id in {"io", "path", "codecs"}


@every_shipped_file
def test_nothing_windows_cannot_do(path):
    found = []
    for call, name in calls(path):
        if name in {"symlink", "symlink_to", "hardlink_to", "link_to", "fork", "mkfifo", "chmod"}:
            found.append((call.lineno, name))
    for entry in sources.imports_of(path):
        if entry.top in {"multiprocessing", "subprocess", "fcntl", "pwd", "grp", "resource"}:
            found.append((entry.line, f"import {entry.target}"))
    in_package = path.parts[0] != "sample_project"  # whose scripts are started by make, so on Debian
    for number, line in enumerate(sources.text_of(path).splitlines() if in_package else (), 1):
        if re.search(r"""["']/(tmp|var|usr|etc)\b""", line) or "os.path" in line:
            found.append((number, "paths are made with pathlib, temporary ones with tempfile"))
    assert not found, problems(path, found)


def test_file_names_work_on_windows():
    folders = [*sources.SHIPPED_FOLDERS, "tests"]
    names = [path.relative_to(sources.ROOT) for folder in folders for path in (sources.ROOT / folder).rglob("*")]
    reserved = re.compile(r"(con|prn|aux|nul|com\d|lpt\d)(\..*)?", re.IGNORECASE)
    bad = [n for n in names if re.search(r'[<>:"\\|?*]|[ .]$', n.name) or reserved.fullmatch(n.name)]
    assert not bad
    assert max(len(n.as_posix()) for n in names) < 100, "Windows allows 260 characters with the profile's folder before"
    by_letters = {n.as_posix().lower() for n in names}
    assert len(by_letters) == len(names), "two names that differ in capitals only"


@every_file
def test_qt_is_used_as_both_generations_know_it(path):
    tree = sources.tree_of(path)
    found = [(entry.line, f"import {entry.target}") for entry in sources.imports_of(path) if "PyQt" in entry.top]
    inner = {id(node.value) for node in ast.walk(tree) if isinstance(node, ast.Attribute)}
    called = {id(node.func) for node in ast.walk(tree) if isinstance(node, ast.Call)}
    for node in ast.walk(tree):
        if not isinstance(node, ast.Attribute):
            continue
        if node.attr == "exec_":
            found.append((node.lineno, "exec_() is gone in Qt 6"))
        owner = node.value.id if isinstance(node.value, ast.Name) else ""
        member = re.fullmatch("[A-Z][a-zA-Z0-9]*[a-z][a-zA-Z0-9]*", node.attr) and id(node) not in inner | called
        if member and re.fullmatch("Q[A-Z][A-Za-z]+|Qgis|Qt", owner) and owner not in ENUMERATIONS:
            found.append((node.lineno, f"{owner}.{node.attr}: name the enumeration it belongs to"))
    assert not found, problems(path, found)


@every_shipped_file
def test_files_stay_short(path):
    lines = len(sources.text_of(path).splitlines())
    assert lines <= MOST_LINES, f"{path} has {lines} lines: split it by what its parts do"


@every_file
def test_words_speak_of_the_project_alone(path):
    found = [
        (number, line.strip())
        for number, line in enumerate(sources.text_of(path).splitlines(), 1)
        if any(word in line for word in UNFIT_WORDS) or MACHINE_PATH.search(line)
    ]
    assert not found, problems(path, found)


SAVES = {"commitChanges", "rollBack", "truncate", "archive_batch", "database_batch"}
WRITES_PAST_THE_EDITS = {
    "addFeature", "addFeatures", "deleteFeatures", "changeAttributeValues", "changeGeometryValues", "changeFeatures",
    "addAttributes", "deleteAttributes", "renameAttributes", "truncate",
}


def unsaid_writes(tree):
    """Lines of calls that save or discard edits, or that write into a provider past the edit buffer."""
    providers = {
        target.id for node in ast.walk(tree) if isinstance(node, ast.Assign) and is_provider(node.value)
        for target in node.targets if isinstance(target, ast.Name)
    }
    for node in ast.walk(tree):
        name = node.attr if isinstance(node, ast.Attribute) else getattr(node, "id", None)
        if name in SAVES:
            yield node.lineno, f"{name}: edits are the user's to save or to discard"
        if isinstance(node, ast.Attribute) and name in WRITES_PAST_THE_EDITS and (
            is_provider(node.value) or getattr(node.value, "id", None) in providers
        ):
            yield node.lineno, f"{name} of a provider writes past the edit buffer"
        modules = [node.module or ""] if isinstance(node, ast.ImportFrom) else (
            [one.name for one in node.names] if isinstance(node, ast.Import) else [])
        if any(module.partition(".")[0] in ("sqlite3", "osgeo") for module in modules):
            yield node.lineno, "files are written by algorithms, not by the desktop"


def is_provider(node):
    return isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute) and node.func.attr == "dataProvider"


@pytest.mark.parametrize(
    "path", [path for path in sources.shipped_files() if path.as_posix().startswith("plugin/gui/")],
    ids=lambda path: path.as_posix(),
)
def test_the_desktop_never_saves_nor_writes_past_the_edits(path):
    found = [*unsaid_writes(sources.tree_of(path))]
    assert not found, problems(path, found)


@pytest.mark.parametrize("line", [
    "layer.commitChanges()", "self.layer.rollBack()", "layer.dataProvider().addFeatures(rows)",
    "provider = layer.dataProvider()\nprovider.changeAttributeValues({})", "save = layer.commitChanges",
    "from ..history.batch import archive_batch\narchive_batch(path)", "import sqlite3", "from osgeo import ogr",
])
def test_what_saves_or_writes_past_the_edits_is_noticed(line):
    assert [*unsaid_writes(ast.parse(line))]


def test_edits_in_the_buffer_are_no_such_writes():
    assert not [*unsaid_writes(ast.parse("layer.addFeature(row)\nlayer.changeAttributeValue(1, 2, 3)\nundo()"))]
