"""The rules of the house that a machine can check: names, sizes, units, words, and tests beside every module."""

from __future__ import annotations

import ast
import importlib.util
import re
import shutil
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from fnmatch import fnmatch
from functools import cache
from itertools import zip_longest
from pathlib import Path
from types import ModuleType

import pytest

PROJECT = Path(__file__).resolve().parents[1]
PACKAGES = ("logger", "calibration", "hardware/draw")
MODULES = sorted(path.relative_to(PROJECT) for package in PACKAGES for path in (PROJECT / package).rglob("*.py"))
TESTS = sorted(path.relative_to(PROJECT) for path in (PROJECT / "tests").rglob("*.py"))

# The lists of exceptions may only shrink: an entry that is no longer needed fails as well.

WITHOUT_OWN_TEST: set[str] = set()
"""Modules that no test file mirrors."""

LONG_MODULES: set[str] = set()
"""Modules of more than 400 lines."""

LONG_FUNCTIONS: set[str] = set()
"""module:function of more than 50 lines of body."""

UNIT = re.compile(
    r"(^|_)(ns2?|s|ms|us|mm2?|mm_per_s2?|mm2_per_s[23]?|m_per_s2?|per_s|per_m|px2?|px_per_s|mm_per_px|px_per_mm|g|kg|deg|rad|rad_per_s"
    r"|hz|count|counts|index|degc|percent|levels|grey|ppm|bytes|ratio|share|per_s|per_mm|mm3|m|n|w|v|a|ohm|f)$"
)
NUMERIC = re.compile(r"\b(int|float|Floats|NDArray|ndarray)\b")
WHAT_MACHINES_ARE_CALLED = re.compile(r"/(wor[k]|Users|root)/|\.\./share[d]")
FORBIDDEN_NAMES = {"utils", "helpers", "common", "manager", "base", "misc", "util", "helper"}
FILLER = {"a", "an", "the", "of", "for", "to", "from", "and", "in", "is", "its", "this", "that", "return", "returns"}


def module_of(path: Path) -> ModuleType:
    """A test file, executed under a name of its own."""
    spec = importlib.util.spec_from_file_location(f"house_{path.stem}", path)
    assert spec is not None
    assert spec.loader is not None
    loaded = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = loaded
    spec.loader.exec_module(loaded)
    return loaded


@cache
def tree(path: Path) -> ast.Module:
    return ast.parse((PROJECT / path).read_text(encoding="utf-8"), filename=str(path))


def dotted(path: Path) -> str:
    return ".".join(path.with_suffix("").parts).removesuffix(".__init__")


def only_docstring(path: Path) -> bool:
    return all(isinstance(node, ast.Expr | ast.ImportFrom | ast.Import | ast.Assign) for node in tree(path).body)


def is_public(name: str) -> bool:
    return not name.startswith("_")


def classes(path: Path) -> Iterator[ast.ClassDef]:
    return (node for node in ast.walk(tree(path)) if isinstance(node, ast.ClassDef))


def functions(path: Path) -> Iterator[ast.FunctionDef | ast.AsyncFunctionDef]:
    return (node for node in ast.walk(tree(path)) if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef))


def dataclass_call(node: ast.ClassDef) -> ast.expr | None:
    for decorator in node.decorator_list:
        called = decorator.func if isinstance(decorator, ast.Call) else decorator
        if ast.unparse(called) in {"dataclass", "dataclasses.dataclass"}:
            return decorator
    return None


def kept_files() -> list[Path]:
    """Every file that belongs to the project, also where there is no version control."""
    if shutil.which("git") is not None:
        listed = subprocess.run(
            ["git", "ls-files", "-z", "--cached", "--others", "--exclude-standard"],
            cwd=PROJECT, capture_output=True, text=True, check=False,
        )  # fmt: skip
        if listed.returncode == 0 and listed.stdout:
            return [PROJECT / name for name in listed.stdout.split("\0") if name and (PROJECT / name).is_file()]
    return kept_without_git(PROJECT)


def kept_without_git(root: Path) -> list[Path]:
    """Every file below `root` that its .gitignore does not leave out; a pattern there is one name, at any depth."""
    patterns = [".git", *(line.rstrip("/") for line in (root / ".gitignore").read_text(encoding="utf-8").split())]
    return [
        path
        for path in root.rglob("*")
        if path.is_file()
        and not any(fnmatch(part, pattern) for part in path.relative_to(root).parts for pattern in patterns)
    ]


def test_without_version_control_the_same_files_belong_to_the_project(tmp_path: Path) -> None:
    kept = {".gitignore", "README.md", "logger/config.py", ".ci/run"}
    made = {"build/lib/logger/config.py", "boatrun.egg-info/SOURCES.txt", "boatrun-demo-2/report.html", ".venv/a.py"}
    for name in kept | made | {"logger/__pycache__/config.pyc", ".git/HEAD"}:
        (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / name).touch()
    shutil.copy(PROJECT / ".gitignore", tmp_path)
    assert {str(path.relative_to(tmp_path)) for path in kept_without_git(tmp_path)} == kept


def test_what_is_to_be_ignored_is_said_by_plain_names() -> None:
    """So that `kept_without_git` need not know the whole language of version control."""
    lines = (PROJECT / ".gitignore").read_text(encoding="utf-8").split()
    assert [line for line in lines if line.startswith(("#", "!")) or "/" in line[:-1] or "**" in line] == []


# --- a test stands where the code stands ---


def mirrors(module: Path) -> bool:
    folder = PROJECT / "tests" / module.parent
    stem = module.stem.strip("_") if module.name != "__init__.py" else module.parent.name
    return any(folder.glob(f"test_{stem}.py")) or any(folder.glob(f"test_{stem}_*.py"))


def test_every_module_has_its_own_tests() -> None:
    wanted = {str(m) for m in MODULES if not (m.name == "__init__.py" and only_docstring(m))}
    missing = {name for name in wanted if not mirrors(Path(name))}
    assert sorted(missing - WITHOUT_OWN_TEST) == [], "modules without a test file of their own"
    assert sorted(WITHOUT_OWN_TEST - missing) == [], "no longer an exception: take it off the list"


def test_every_test_file_stands_for_a_module_that_exists() -> None:
    stray = []
    for test in TESTS:
        inner = test.relative_to("tests")
        if inner.parts[0] not in PACKAGES or not test.name.startswith("test_"):
            continue
        folder = PROJECT / inner.parent
        stems = {path.stem.strip("_") for path in folder.glob("*.py")} | {folder.name, "contract"}
        if not any(test.stem[5:] == stem or test.stem[5:].startswith(f"{stem}_") for stem in stems):
            stray.append(str(test))
    assert stray == []


# --- names ---


def test_no_module_is_named_after_nothing() -> None:
    assert [str(m) for m in MODULES if FORBIDDEN_NAMES & set(m.with_suffix("").parts)] == []


@dataclass(frozen=True, slots=True)
class NumericField:
    where: str
    name: str
    has_sentence: bool
    """A string under it, or the class's own description, says what it is."""


def fields_of(module: Path, node: ast.ClassDef) -> Iterator[NumericField]:
    for item, after in zip_longest(node.body, node.body[1:]):
        if not (isinstance(item, ast.AnnAssign) and isinstance(item.target, ast.Name)):
            continue
        name, annotation = item.target.id, ast.unparse(item.annotation)
        if is_public(name) and NUMERIC.search(annotation) and "ClassVar" not in annotation:
            sentence = isinstance(after, ast.Expr) and isinstance(after.value, ast.Constant)
            sentence |= re.search(rf"\b{name}\b", ast.get_docstring(node) or "") is not None
            yield NumericField(f"{module}: {node.name}.{name}", name, sentence)


def numeric_fields() -> list[NumericField]:
    shown = ((module, node) for module in MODULES for node in classes(module) if is_public(node.name))
    return [field for module, node in shown for field in fields_of(module, node)]


def test_every_number_in_a_value_says_its_unit() -> None:
    """By its name (…_mm, …_s, …_count), or, where it is of dimension one, by the sentence under it."""
    bare = [f.where for f in numeric_fields() if not UNIT.search(f.name) and not f.has_sentence]
    assert bare == []


def test_most_numbers_say_their_unit_by_name() -> None:
    every = numeric_fields()
    named = [f for f in every if UNIT.search(f.name)]
    assert len(named) > 0.6 * len(every), "the sentence is for numbers of dimension one, not a way round the rule"


def test_times_in_nanoseconds_are_whole_numbers() -> None:
    wrong = []
    for module in MODULES:
        for node in ast.walk(tree(module)):
            if isinstance(node, ast.AnnAssign) and isinstance(node.target, ast.Name):
                name, annotation = node.target.id, ast.unparse(node.annotation)
            elif isinstance(node, ast.arg) and node.annotation is not None:
                name, annotation = node.arg, ast.unparse(node.annotation)
            else:
                continue
            if name.endswith("_ns") and re.search(r"\bfloat\b|float64|Floats", annotation):
                wrong.append(f"{module}:{node.lineno} {name}: {annotation}")
    assert wrong == [], "ns are integers: a float64 holds 0.24 µs at an uptime of one month"


# --- shape ---


def test_values_are_frozen_and_have_slots() -> None:
    loose = []
    for module in MODULES:
        for node in classes(module):
            decorator = dataclass_call(node)
            if decorator is None:
                continue
            given = {k.arg: ast.unparse(k.value) for k in decorator.keywords} if isinstance(decorator, ast.Call) else {}
            # what a doer remembers between calls may change, but is its own affair
            frozen = given.get("frozen") == "True" or not is_public(node.name)
            if given.get("slots") != "True" or not frozen:
                loose.append(f"{module}: {node.name}")
    assert loose == []


def test_modules_are_short() -> None:
    long = {str(m) for m in MODULES if len((PROJECT / m).read_text(encoding="utf-8").splitlines()) > 400}
    assert sorted(long - LONG_MODULES) == []
    assert sorted(LONG_MODULES - long) == [], "no longer an exception: take it off the list"


def body_length(node: ast.FunctionDef | ast.AsyncFunctionDef) -> int:
    body = node.body[1:] if ast.get_docstring(node) is not None else node.body
    return (body[-1].end_lineno or 0) - body[0].lineno + 1 if body else 0


def test_functions_are_short() -> None:
    long = {f"{m}:{node.name}" for m in MODULES for node in functions(m) if body_length(node) > 50}
    assert sorted(long - LONG_FUNCTIONS) == []
    assert sorted(LONG_FUNCTIONS - long) == [], "no longer an exception: take it off the list"


def test_positional_arguments_are_few() -> None:
    many = []
    for module in MODULES:
        for node in functions(module):
            arguments = [a.arg for a in node.args.posonlyargs + node.args.args if a.arg not in {"self", "cls"}]
            required = len(arguments) - len(node.args.defaults)
            if is_public(node.name) and len(arguments) > 4 and required > 3:
                many.append(f"{module}:{node.lineno} {node.name}({', '.join(arguments)})")
    assert many == [], "beyond two, name the arguments (*)"


# --- words ---


def documented(path: Path) -> Iterator[tuple[str, ast.Module | ast.ClassDef | ast.FunctionDef | ast.AsyncFunctionDef]]:
    yield dotted(path), tree(path)
    for node in tree(path).body:
        if isinstance(node, ast.ClassDef | ast.FunctionDef | ast.AsyncFunctionDef) and is_public(node.name):
            yield f"{dotted(path)}.{node.name}", node
            if isinstance(node, ast.ClassDef):
                for item in node.body:
                    if isinstance(item, ast.FunctionDef | ast.AsyncFunctionDef) and is_public(item.name):
                        yield f"{dotted(path)}.{node.name}.{item.name}", item


@pytest.mark.parametrize("module", MODULES, ids=str)
def test_everything_public_is_described(module: Path) -> None:
    assert [name for name, node in documented(module) if not ast.get_docstring(node)] == []


@pytest.mark.parametrize("module", MODULES, ids=str)
def test_no_description_only_repeats_the_name(module: Path) -> None:
    echoes = []
    for name, node in documented(module):
        said = set(re.findall(r"[a-z]+", (ast.get_docstring(node) or "").lower())) - FILLER
        known = set(re.findall(r"[a-z]+", name.rsplit(".", 1)[-1].lower()))
        if said and said <= known and "->" not in (ast.get_docstring(node) or ""):
            echoes.append(name)
    assert echoes == []


def test_no_file_speaks_of_one_machine() -> None:
    found = []
    for path in kept_files():
        if PROJECT / ".ci" in path.parents:
            continue
        try:
            text = path.read_text(encoding="utf-8")
        except UnicodeDecodeError:
            continue
        found += [
            f"{path.relative_to(PROJECT)}:{number}"
            for number, line in enumerate(text.splitlines(), 1)
            if WHAT_MACHINES_ARE_CALLED.search(line)
        ]
    assert found == []


# --- tests that can fail ---


def test_expected_errors_say_which_words_are_expected() -> None:
    vague = []
    for path in TESTS:
        for node in ast.walk(tree(path)):
            expects = isinstance(node, ast.Call) and ast.unparse(node.func) in {"pytest.raises", "pytest.warns"}
            if expects and not any(keyword.arg == "match" for keyword in node.keywords):
                vague.append(f"{path}:{node.lineno}")
    assert vague == []


def test_tests_neither_sleep_nor_replace_our_own_code() -> None:
    found = []
    for path in TESTS:
        for node in ast.walk(tree(path)):
            if isinstance(node, ast.Import | ast.ImportFrom):
                names = {alias.name for alias in node.names} | {getattr(node, "module", None) or ""}
                if any(name.startswith(("unittest.mock", "mock")) for name in names):
                    found.append(f"{path}:{node.lineno} mock")
            if isinstance(node, ast.Call) and ast.unparse(node.func) in {"time.sleep", "sleep", "asyncio.sleep"}:
                found.append(f"{path}:{node.lineno} sleep")
    assert found == []


WALL_CLOCK = re.compile(
    r"time\.(time|time_ns|localtime|gmtime|ctime|asctime|strftime)|(.*\.)?(datetime|date)\.(now|utcnow|today)|.*CLOCK_REALTIME"
)


def asks_the_wall_clock(module: Path) -> bool:
    """Whether anything in `module` reads the clock that people set; not that it may be handed such a time."""
    for node in ast.walk(tree(module)):
        if isinstance(node, ast.ImportFrom) and node.module == "time":
            if any(WALL_CLOCK.fullmatch(f"time.{alias.name}") for alias in node.names):
                return True
        elif isinstance(node, ast.Attribute) and WALL_CLOCK.fullmatch(ast.unparse(node)):
            return True
    return False


def test_nothing_that_records_asks_what_time_it_is() -> None:
    """So a step of the wall clock, when the network sets it during a run, changes nothing."""
    recording = [
        m for m in MODULES if m.parts[:2] in {("logger", part) for part in ("station", "recording", "drivers")}
    ]
    assert len(recording) > 30
    assert [str(m) for m in recording if asks_the_wall_clock(m)] == []


def asserts(node: ast.AST) -> bool:
    """Whether something in `node` itself fails where a thing is not as it should be."""
    calls = (ast.unparse(inner.func) for inner in ast.walk(node) if isinstance(inner, ast.Call))
    return any(isinstance(inner, ast.Assert) for inner in ast.walk(node)) or any(
        call in {"pytest.raises", "pytest.warns", "pytest.fail"} or ".assert_" in call for call in calls
    )


def test_every_test_function_can_fail() -> None:
    """A test asserts, expects an error, or calls one that does; a bench only prints."""
    every = [(path, node) for path in TESTS for node in functions(path)]
    judges = {node.name for _, node in every if asserts(node)}
    idle = []
    for path, node in every:
        is_bench = any("mark.bench" in ast.unparse(d) for d in node.decorator_list)
        if not node.name.startswith("test_") or is_bench or asserts(node):
            continue
        called = {ast.unparse(n.func).rsplit(".", 1)[-1] for n in ast.walk(node) if isinstance(n, ast.Call)}
        if not called & judges:
            idle.append(f"{path}:{node.lineno} {node.name}")
    assert idle == []


# --- dictionaries, tables and the documents ---


def test_every_column_has_a_unit_and_a_meaning() -> None:
    from logger.results.columns import COLUMNS

    for name, column in COLUMNS.items():
        assert column.name == name
        assert column.words, name
        assert column.meaning.endswith("."), name
        if column.unit not in {"", "1"}:
            unit = column.unit.replace("/", "_per_" if column.unit[0] != "/" else "per_")
            assert name.endswith(f"_{unit}") or name == unit, f"{name} does not end in its unit, {column.unit}"


def test_every_result_of_a_trial_is_in_the_dictionary() -> None:
    from logger.results.columns import COLUMNS

    named = set()
    for module in MODULES:
        if module.parts[:2] == ("logger", "results"):
            named |= {
                n.value for n in ast.walk(tree(module)) if isinstance(n, ast.Constant) and isinstance(n.value, str)
            }
    results = {
        name for name in named if re.fullmatch(r"(time|speed|drift|path|sideways)(_[a-z]+)*_(s|mm|m_per_s)", name)
    }
    assert sorted(results - set(COLUMNS)) == []


def test_every_driver_is_in_the_contract_suite() -> None:
    from logger.drivers import DRIVERS

    suite = module_of(PROJECT / "tests/logger/drivers/test_contract.py")
    assert sorted(set(DRIVERS) - set(suite.CASES)) == []
    listed = {target.partition(":")[0] for target in DRIVERS.values()}
    drivers = {
        dotted(m)
        for m in MODULES
        if m.parent == Path("logger/drivers") and any(n.name == "Options" for n in classes(m))
    }
    assert sorted(drivers - listed) == [], "a driver that cannot be chosen"


DOCUMENTS = ("README.md", "DEVELOPERS.md", "CHANGELOG.md", "logger/recording/FORMATS.md")


@pytest.mark.parametrize("document", DOCUMENTS)
def test_every_file_that_a_document_names_is_there(document: str) -> None:
    text = (PROJECT / document).read_text(encoding="utf-8")
    linked = re.findall(r"\]\((?!https?:|#|mailto:)([^)#\s]+)", text)
    quoted = re.findall(r"`((?:logger|calibration|tests|hardware|\.ci)/[\w./-]*)`", text)
    assert [name for name in linked if not (PROJECT / document).parent.joinpath(name).exists()] == []
    assert [name for name in quoted if not (PROJECT / name).exists()] == []


def test_the_top_floor_holds_only_what_is_agreed() -> None:
    agreed = {"README.md", "DEVELOPERS.md", "CHANGELOG.md", "LICENSE", "pyproject.toml", ".gitignore"}
    agreed |= {"logger", "calibration", "tests", "hardware", ".ci"}
    assert sorted({path.relative_to(PROJECT).parts[0] for path in kept_files()} - agreed) == []


def test_every_package_is_on_a_floor_of_developers_md() -> None:
    text = (PROJECT / "DEVELOPERS.md").read_text(encoding="utf-8")
    floors = {
        m.parts[1].removesuffix(".py") for m in MODULES if m.parts[0] == "logger" and not m.parts[1].startswith("_")
    }
    assert [floor for floor in sorted(floors) if f"`logger/{floor}" not in text] == []
