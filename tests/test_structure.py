"""The shape that the project must keep: who imports whom, who opens files, what is documented."""

import ast
import json
import re
import subprocess
import sys
from pathlib import Path

import jsonschema
import pytest

import rca

PACKAGE = Path(rca.__file__).parent
ROOT = PACKAGE.parent
MODULES = sorted(PACKAGE.rglob("*.py"))
SCHEMAS = sorted(PACKAGE.rglob("*.schema.json"))

# Each room may import the rooms before it and itself.
ROOMS = ("errors", "records", "life", "causes", "show", "cli")
PUBLIC = "__init__"  # the public names of the package: everything before `show`
HEAVY = (
    "plotly", "ipywidgets", "IPython", "jupyter", "jupyterlab", "papermill", "nbconvert",
    "nbformat", "nbclient", "statsmodels", "matplotlib", "openpyxl", "sqlalchemy", "click",
)  # fmt: skip
DRAWS = {"plotly", "matplotlib", "ipywidgets", "IPython", "papermill", "nbconvert", "seaborn"}
TOP_LEVEL = {
    "pyproject.toml", "README.md", "DEVELOPERS.md", "LICENSE", "workbooks", "rca", "data_demo",
    "tests",
}  # fmt: skip
MADE_LOCALLY = re.compile(r"build|dist|reports|.*\.egg-info|__pycache__")


def name_of(path):
    return path.relative_to(ROOT).as_posix()


def tree_of(path):
    return ast.parse(path.read_text(encoding="utf-8"))


def room_of(path):
    """The room a module belongs to: its folder, or its own name at the top of the package."""
    return path.relative_to(PACKAGE).with_suffix("").parts[0]


def imports_of(tree):
    """Every module that is imported anywhere in a file, as dotted names."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, "imports are absolute"
            if node.module == "rca":
                yield from (f"rca.{alias.name}" for alias in node.names)
            else:
                yield node.module


@pytest.mark.parametrize("path", MODULES, ids=name_of)
def test_a_room_imports_only_rooms_before_it(path):
    room = room_of(path)
    last = ROOMS.index("show") - 1 if room == PUBLIC else ROOMS.index(room)
    wanted = {name.split(".")[1] for name in imports_of(tree_of(path)) if name.startswith("rca.")}
    assert wanted <= set(ROOMS[: last + 1])


def test_rooms_are_the_folders_of_the_package():
    there = {path.name for path in PACKAGE.iterdir() if (path / "__init__.py").is_file()}
    assert there == {"records", "life", "causes", "show"}


CAUSES = ("counts", "fix", "case", "screen", "pattern", "planning", "failure_modes")


def test_the_folders_of_causes_are_these():
    """Those of CAUSES come before the other modules of the room, the two others after them."""
    there = {path.name for path in (PACKAGE / "causes").iterdir() if path.is_dir()}
    assert there - {"__pycache__"} == {*CAUSES, "since_last", "summary"}


@pytest.mark.parametrize("path", [p for p in MODULES if p.parent.name in CAUSES], ids=name_of)
def test_a_folder_of_causes_imports_only_folders_before_it(path):
    names = [name.split(".") for name in imports_of(tree_of(path))]
    wanted = {name[2] for name in names if name[:2] == ["rca", "causes"]}
    assert wanted <= set(CAUSES[: CAUSES.index(path.parent.name) + 1])


QUIET = [path for path in MODULES if room_of(path) in ("records", "life", "causes")]
FILE_CALLS = {
    "open", "read_text", "write_text", "read_bytes", "write_bytes", "unlink", "touch", "mkdir",
    "rmdir", "rmtree", "copytree", "copyfile", "symlink_to", "mkdtemp", "mkstemp",
    "NamedTemporaryFile", "TemporaryDirectory", "read_csv", "read_excel", "read_parquet",
    "read_pickle", "read_json", "read_sql", "read_table", "to_excel", "to_parquet", "to_pickle",
    "loadtxt", "savetxt", "savez", "fromfile", "tofile", "urlopen", "load_workbook",
}  # fmt: skip


def _opens(owner):
    """Tell whether `owner.open(...)` opens a file: a module that does, or some path."""
    said = ast.unparse(owner)
    return said in ("gzip", "io", "os", "codecs", "zipfile") or "path" in said.lower()


def opened_files(tree):
    """Calls that open a file, but for those of `files` and those that read a text in memory."""
    arguments = [node for node in ast.walk(tree) if isinstance(node, ast.arg) and node.annotation]
    buffers = {one.arg for one in arguments if ast.unparse(one.annotation) == "pa.Buffer"}
    for node in ast.walk(tree):
        if not isinstance(node, ast.Call):
            continue
        function = node.func
        name = getattr(function, "attr", None) or getattr(function, "id", "")
        through = getattr(getattr(function, "value", None), "id", "")
        if name == "open" and isinstance(function, ast.Attribute) and not _opens(function.value):
            continue
        first = ast.unparse(node.args[0]) if node.args else ""
        in_memory = first.startswith("io.StringIO(") or first in buffers
        if name in FILE_CALLS and through != "files" and not in_memory:
            yield f"line {node.lineno}: {ast.unparse(function)}"


@pytest.mark.parametrize("path", QUIET, ids=name_of)
def test_records_life_and_causes_open_no_file_and_draw_nothing(path):
    tree = tree_of(path)
    assert {name.split(".")[0] for name in imports_of(tree)}.isdisjoint(DRAWS)
    if not name_of(path).startswith("rca/records/files/"):
        assert list(opened_files(tree)) == []


def test_the_search_for_opened_files_finds_them():
    opens = ["open('a')", "Path('a').open()", "gzip.open(a)", "path.read_text()", "pd.read_csv(a)"]
    others = ["desk.open()", "pd.read_csv(io.StringIO(t))", "files.read_table(s)"]
    assert len(list(opened_files(ast.parse("\n".join(opens + others))))) == len(opens)


def test_import_rca_stays_light():
    code = (
        "import rca, sys, json; print(json.dumps(sorted({m.split('.')[0] for m in sys.modules})))"
    )
    done = subprocess.run(
        [sys.executable, "-W", "error", "-c", code], capture_output=True, text=True, cwd=ROOT,
        check=True,
    )  # fmt: skip
    assert sorted(set(json.loads(done.stdout)) & set(HEAVY)) == []


def public_parts(tree):
    """Public functions, classes and methods of a module, with their dotted names."""
    for node in tree.body:
        if isinstance(node, ast.FunctionDef | ast.ClassDef) and not node.name.startswith("_"):
            yield node.name, node, False
            for inner in getattr(node, "body", []) if isinstance(node, ast.ClassDef) else []:
                if isinstance(inner, ast.FunctionDef) and not inner.name.startswith("_"):
                    yield f"{node.name}.{inner.name}", inner, True


def untyped(node, is_method):
    """Arguments without an annotation, and "return" where that has none."""
    arguments = [*node.args.posonlyargs, *node.args.args, *node.args.kwonlyargs]
    static = any(getattr(one, "id", "") == "staticmethod" for one in node.decorator_list)
    arguments = arguments[1:] if is_method and not static else arguments
    extra = [one for one in (node.args.vararg, node.args.kwarg) if one]
    found = [one.arg for one in (*arguments, *extra) if one.annotation is None]
    return found + ([] if node.returns is not None else ["return"])


@pytest.mark.parametrize("path", MODULES, ids=name_of)
def test_what_is_public_is_typed_and_has_a_docstring(path):
    tree = tree_of(path)
    assert ast.get_docstring(tree), "the module says what it is for"
    for name, node, is_method in public_parts(tree):
        assert ast.get_docstring(node), f"{name} has no docstring"
        if isinstance(node, ast.FunctionDef):
            assert untyped(node, is_method) == [], name


def test_the_public_names_are_all_there_and_in_order():
    assert list(rca.__all__) == sorted(rca.__all__)
    assert all(hasattr(rca, name) for name in rca.__all__)


@pytest.mark.parametrize("path", SCHEMAS, ids=name_of)
def test_json_schemas_are_schemas(path):
    schema = json.loads(path.read_text(encoding="utf-8"))
    jsonschema.Draft202012Validator.check_schema(schema)
    assert schema["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    assert schema["title"]


TEXTS = sorted(
    path
    for place in TOP_LEVEL
    for path in ([ROOT / place] if (ROOT / place).is_file() else (ROOT / place).rglob("*"))
    if path.suffix in (".py", ".md", ".yaml", ".yml", ".toml", ".json", ".ipynb", ".j2", ".css")
)
OWN_PLACES = re.compile(r"(?<![\w.:/])/(?:home|root|work|opt|tmp|mnt|Users)/\w")
LEFT_OVER = re.compile(r"\b(?:TO" r"DO|FIX" r"ME|XX" r"X)\b")


def test_no_text_of_the_project_names_a_place_of_one_machine_or_is_left_unfinished():
    assert len(TEXTS) > 100
    for path in TEXTS:
        text = path.read_text(encoding="utf-8")
        assert OWN_PLACES.findall(text) == [], name_of(path)
        assert LEFT_OVER.findall(text) == [], name_of(path)


def test_the_search_for_places_finds_them():
    assert OWN_PLACES.search('"/' + 'home/me"')
    assert not OWN_PLACES.search("a/home/x and https://host/home/x")


def test_the_top_level_is_as_agreed():
    there = {path.name for path in ROOT.iterdir() if not path.name.startswith(".")}
    assert {name for name in there - TOP_LEVEL if not MADE_LOCALLY.fullmatch(name)} == set()
    assert there >= TOP_LEVEL


def test_there_is_no_drawer_for_odds_and_ends():
    odd = {"util", "utils", "helpers", "common", "misc", "tools"}
    assert {path.stem for path in MODULES} & odd == set()
