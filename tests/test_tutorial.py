"""The tutorial runs from its first cell to its last with the interpreter of the tests, and says what it promises."""

import sys
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import nbformat
import pytest
from nbclient import NotebookClient

DOCS = Path(__file__).parent.parent / "docs"
NOTEBOOK = DOCS / "tutorial.ipynb"


def read() -> Any:
    return nbformat.read(NOTEBOOK, as_version=4)


def code_cells(notebook: Any) -> list[Any]:
    return [cell for cell in notebook.cells if cell.cell_type == "code"]


def said(cell: Mapping[str, Any]) -> str:
    """Return what a cell that ran shows, as text."""
    texts = [output.get("text") or output.get("data", {}).get("text/plain", "") for output in cell["outputs"]]
    return "\n".join(texts)


def test_no_output_is_stored_and_every_part_is_explained():
    notebook = read()
    nbformat.validate(notebook)

    assert [cell.id for cell in code_cells(notebook) if cell.outputs or cell.execution_count] == []
    assert notebook.cells[0].cell_type == notebook.cells[-1].cell_type == "markdown"
    assert sum(cell.cell_type == "markdown" and "## " in cell.source for cell in notebook.cells) >= 8
    assert "Level 3" in notebook.cells[0].source


@pytest.fixture(scope="module")
def ran(tmp_path_factory) -> Any:
    notebook = read()
    notebook.cells.append(nbformat.v4.new_code_cell("import sys; print(sys.executable)"))
    with pytest.MonkeyPatch.context() as patch:
        for name in ("IPYTHONDIR", "JUPYTER_RUNTIME_DIR", "JUPYTER_CONFIG_DIR", "TMPDIR"):
            patch.setenv(name, str(tmp_path_factory.mktemp(name.lower())))
        NotebookClient(
            notebook, timeout=120, kernel_name="python3", resources={"metadata": {"path": str(DOCS)}}
        ).execute()
    return notebook


def test_it_runs_with_this_interpreter_and_without_a_warning(ran):
    cells = code_cells(ran)

    assert said(cells[-1]).strip() == sys.executable
    assert [cell.id for cell in cells if any(output.get("name") == "stderr" for output in cell.outputs)] == []


@pytest.mark.parametrize(
    ("cell", "words"),
    [
        ("scan = spc.scan_log", "13756 rows read = 13740 accepted + 5 duplicate + 11 quarantined"),
        ("scan.log.quarantine", "row 2091, taken_at: '2025-02-30T06:31': there is no such date or time"),
        ("spc.screen(", "decimal point 1 place to the left"),
        ("spc.stream_state(", "Line B · ammeter · head: failed"),
        ("spc.stream_state(", "UV-A irradiance, lamp 2 has been falling since about Thu 22 Oct 2026"),
        ("spc.stream_state(", "Look first at: Distance and position of the meter"),
        ('lamp = scan.stream("', "What comes next"),
        ("spc.stream_frame(", "acceptance_lower"),
        ("drift = spc.drift_onset", "Onset of a drift"),
        ("drift.when", "began with the reading of 2026-10-19"),
        ("spc.step_change(", "One move of the level"),
        ("lamp.forecast", "readings at the earliest (1 chance in 10)"),
        ("spc.individuals_limits(", "control limits"),
        ("spc.capability_of(", "no stable process is behind these indices"),
        ('"--json"', "lamp 2 - refused - "),
        ("spc.rule_set_run_length(", "a false alarm in "),
        ("review.html", "review.html"),
    ],
)
def test_a_cell_says_what_the_text_promises(ran, cell, words):
    (found,) = [each for each in code_cells(ran) if cell in each.source]

    assert words in said(found)


def test_a_scan_and_a_stream_draw_themselves(ran):
    pages = [
        output.data["text/html"]
        for cell in code_cells(ran)
        for output in cell.outputs
        if "text/html" in output.get("data", {})
    ]

    assert sum("<table>" in page for page in pages) >= 5
    assert sum("<svg" in page for page in pages) == 1


def test_the_figure_is_one_that_a_notebook_draws(ran):
    (cell,) = [each for each in code_cells(ran) if each.source.startswith("spc.stream_figure(")]

    (output,) = cell.outputs
    assert output.data["application/vnd.plotly.v1+json"]["data"]
