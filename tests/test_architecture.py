"""Which module may import which. `LAYERS` is the one table; DEVELOPERS.md shows it, and a test holds the two equal."""

import ast
import graphlib
import re
import subprocess
import sys
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent

# A module of spc/, or a package of it whole, imports from its own layer and those above it in this table.
LAYERS = {
    "words": ["arrays", "by_identity", "errors", "formats", "records", "times", "told", "units"],
    "maths": [
        "arl",
        "autocorrelation",
        "baseline",
        "bath",
        "bath_accounts",
        "capability",
        "changepoint",
        "chart_constants",
        "charts",
        "coarse",
        "conformance",
        "decimals",
        "drift",
        "forecast",
        "kernels",
        "limits_uncertainty",
        "measurement",
        "pivots",
        "rules",
        "sigma",
    ],
    "policy": [
        "accounts",
        "as_of",
        "catalogue",
        "change_words",
        "chart_fit",
        "charted",
        "check_due",
        "containment",
        "dose",
        "dose_words",
        "early_warning",
        "entry",
        "entry_doubts",
        "failed_reading",
        "failures",
        "instruments",
        "interval_evidence",
        "look_back",
        "margin",
        "monitor",
        "other_charts",
        "passwords",
        "results",
        "review",
        "rule_choice",
        "run_start",
        "schedule",
        "screening",
        "setup_look",
        "shown",
        "signals",
        "signed_baseline",
        "splits",
        "state",
        "step_monitor",
        "stream_facts",
        "wording",
    ],
    "shells": [
        "as_json",
        "audit",
        "baseline_book",
        "demo",
        "failure_book",
        "figures",
        "fleet",
        "frames",
        "ingest",
        "printed",
        "report",
        "scan",
        "standing",
        "store",
        "stream_csv",
        "study",
        "telling",
        "watch",
    ],
    "applications": [
        "__init__",
        "__main__",
        "cli",
    ],
}

HEAVY = {"dash", "dask", "distributed", "numba", "pandas", "pint", "plotly", "pyarrow", "scipy", "statsmodels"}
COMPILED = {"spc.kernels.drift", "spc.kernels.limits", "spc.kernels.rules"}  # imported where they are used
ONLY_IN = {"dash": "dashboard", "flask": "dashboard", "waitress": "dashboard", "typer": "spc/cli"}


@dataclass(frozen=True, slots=True)
class Import:
    """One import statement: the module that makes it, the module it names, and where."""

    by: str  # "spc.charts.individuals"
    of: str  # "spc.sigma"
    where: str  # "spc/charts/individuals.py:7"
    at_top: bool  # whether importing `by` runs it


def module_name(path: Path, root: Path) -> str:
    """Return the dotted name that imports `path`."""
    parts = path.relative_to(root).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def sources(root: Path, *folders: str) -> list[Path]:
    return sorted(path for folder in folders for path in (root / folder).rglob("*.py"))


def imports(root: Path, *folders: str) -> Iterator[Import]:
    """Yield every import of the Python files in `folders`, those inside functions too."""
    known = {module_name(path, root) for path in sources(root, *folders)}
    for path in sources(root, *folders):
        tree = ast.parse(path.read_text(encoding="utf-8"))
        at_top = set(statements_run_on_import(tree))
        for node in ast.walk(tree):
            for name in names_imported(node, known):
                where = f"{path.relative_to(root).as_posix()}:{node.lineno}"  # type: ignore[attr-defined]  # an import has one
                yield Import(module_name(path, root), name, where, node in at_top)


def names_imported(node: ast.AST, known: set[str]) -> list[str]:
    """Return the modules that a statement imports: `from spc import rules` names spc.rules, where that is a module."""
    if isinstance(node, ast.Import):
        return [alias.name for alias in node.names]
    if isinstance(node, ast.ImportFrom):
        assert node.level == 0, "imports are absolute here"
        below = [f"{node.module}.{alias.name}" for alias in node.names]
        return [name if name in known else str(node.module) for name in below]
    return []


def statements_run_on_import(tree: ast.Module) -> Iterator[ast.stmt]:
    """Yield the statements that importing the module runs: none inside functions, none for type checkers alone."""
    waiting: list[ast.stmt] = list(tree.body)
    while waiting:
        node = waiting.pop()
        yield node
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            continue
        if isinstance(node, ast.If) and "TYPE_CHECKING" in ast.unparse(node.test):
            continue
        waiting.extend(child for child in ast.iter_child_nodes(node) if isinstance(child, ast.stmt))


def layer_of(name: str, layers: Mapping[str, list[str]]) -> int:
    """Return how high the layer of a module of spc is, the lowest being 0."""
    first = [*name.split("."), "__init__"][1]
    heights = [height for height, modules in enumerate(layers.values()) if first in modules]
    assert heights, f"spc.{first} stands in no layer: add it to LAYERS here and to the table in DEVELOPERS.md"
    return heights[0]


def upward_imports(root: Path, layers: Mapping[str, list[str]]) -> list[str]:
    """Return a line for each import that goes up a layer, naming both modules."""
    names = list(layers)
    lines = []
    for found in imports(root, "spc"):
        if found.of.split(".")[0] == "spc":
            by, of = layer_of(found.by, layers), layer_of(found.of, layers)
            if of > by:
                lines.append(f"{found.where}: {found.by} ({names[by]}) imports {found.of} ({names[of]})")
    return lines


def test_a_module_imports_from_its_own_layer_and_below():
    assert upward_imports(ROOT, LAYERS) == []


def test_a_broken_layer_is_named_with_both_modules(tmp_path):
    (tmp_path / "spc").mkdir()
    (tmp_path / "spc" / "sigma.py").write_text("def sigma():\n    from spc import scan\n    return scan\n")
    (tmp_path / "spc" / "scan.py").write_text("import spc.sigma\n")

    lines = upward_imports(tmp_path, {"maths": ["sigma"], "shells": ["scan"]})

    assert lines == ["spc/sigma.py:2: spc.sigma (maths) imports spc.scan (shells)"]


def test_every_module_stands_in_the_table_once():
    listed = [name for modules in LAYERS.values() for name in modules]
    there = {path.stem if path.suffix == ".py" else path.name for path in (ROOT / "spc").iterdir()}
    there = {
        name for name in there if (ROOT / "spc" / name / "__init__.py").exists() or (ROOT / f"spc/{name}.py").exists()
    }

    assert sorted(listed) == sorted(there)


def test_developers_md_shows_the_same_table():
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    rows = re.findall(r"^\| (\d) (\w+) \| ((?:`\w+`,? ?)+) \|", text, re.MULTILINE)

    shown = {name: re.findall(r"`(\w+)`", modules) for _, name, modules in rows}

    assert [int(height) for height, _, _ in rows] == list(range(len(LAYERS)))
    assert shown == LAYERS


def test_no_module_imports_itself_in_a_circle():
    graph: dict[str, set[str]] = {}
    for found in imports(ROOT, "spc", "dashboard"):
        if found.at_top:
            graph.setdefault(found.by, set()).add(found.of)

    order = list(graphlib.TopologicalSorter(graph).static_order())  # raises, naming the circle

    assert "spc.errors" in order


def test_the_dashboard_reaches_spc_through_queries_alone():
    reaching = {
        f"{found.where}: {found.by} imports {found.of}"
        for found in imports(ROOT, "dashboard")
        if found.of.split(".")[0] == "spc" and not f"{found.by}.".startswith("dashboard.queries.")
    }

    assert sorted(reaching) == []


def test_only_the_command_line_knows_the_dashboard():
    knowing = {found.by for found in imports(ROOT, "spc") if found.of.split(".")[0] == "dashboard"}

    assert knowing == {"spc.cli.serve"}


def test_neither_spc_nor_dashboard_imports_tests_or_datasets():
    wrong = [
        found.where for found in imports(ROOT, "spc", "dashboard") if found.of.split(".")[0] in {"tests", "datasets"}
    ]

    assert wrong == []


@pytest.mark.parametrize(("library", "place"), ONLY_IN.items())
def test_a_library_of_one_place_stays_there(library, place):
    wrong = [
        found.where
        for found in imports(ROOT, "spc", "dashboard")
        if found.of.split(".")[0] == library and not found.where.startswith(place)
    ]

    assert wrong == []


def test_heavy_libraries_are_imported_where_they_are_used():
    wrong = [
        f"{found.where}: {found.of}"
        for found in imports(ROOT, "spc")
        if found.at_top and found.of.split(".")[0] in HEAVY and not (found.of == "numba" and found.by in COMPILED)
    ]

    assert wrong == []


@pytest.mark.parametrize(
    "code",
    [
        "import spc",
        "import spc.cli",
        "import sys, spc.cli; sys.argv = ['spc', '--help']; spc.cli.main()",
    ],
    ids=["import spc", "import spc.cli", "spc --help"],
)
def test_nothing_heavy_is_loaded_before_it_is_needed(code):
    assert loaded_by(code) & HEAVY == set()


def test_a_scan_loads_no_heavy_library_for_a_tidy_log(tmp_path):
    log = tmp_path / "log.csv"
    rows = [f"2025-03-{day:02}T06:10,Line A,bath_concentration,tank,0.{20 + day % 3}" for day in range(1, 31)]
    log.write_text("taken_at,line,check,position,value\n" + "\n".join(rows) + "\n")

    loaded = loaded_by(
        f"import sys, spc.cli; sys.argv = ['spc', 'scan', {str(log)!r}, '--zone', 'UTC']; spc.cli.main()"
    )

    assert "spc.monitor" in loaded
    assert loaded & (HEAVY - {"scipy"} | {"scipy.stats"}) == set()


def loaded_by(code: str) -> set[str]:
    """Return the modules that are loaded after `code` ran in an interpreter of its own."""
    tail = "import sys\ntry:\n    exec(sys.argv.pop())\nexcept SystemExit as end:\n    assert not end.code, end.code\n"
    command = tail + "print('\\n'.join(['LOADED', *sys.modules]))"
    result = subprocess.run([sys.executable, "-c", command, code], capture_output=True, text=True, check=True, cwd=ROOT)
    return set(result.stdout.partition("LOADED\n")[2].split())
