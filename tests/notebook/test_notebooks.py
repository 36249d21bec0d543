"""The worked notebooks run from the first cell to the last, show what they speak of, and are kept without outputs."""

from __future__ import annotations

import os
import shutil
import sys
from pathlib import Path
from typing import Any

import pytest
from asked_for import few_of

nbformat = pytest.importorskip("nbformat", reason="nbformat is not installed (it is in advisor-surface-finishing[dev])")
nbclient = pytest.importorskip("nbclient", reason="nbclient is not installed (it is in advisor-surface-finishing[dev])")
pytest.importorskip("ipykernel", reason="ipykernel is not installed (it is in advisor-surface-finishing[dev])")
pytest.importorskip("pandas", reason="pandas is not installed (it is in advisor-surface-finishing[dev])")

FOLDER = Path(__file__).resolve().parents[2] / "docs" / "notebooks"
SHOWN = {
    "plan_a_part.ipynb": ["data:image/png;base64,", "parallel_line", "Bowl Z", "polar", "pre-finish"],
    "steps_and_balls.ipynb": ["cusp_asked_um", "mm ball,", "constant_cusp"],
    "quote_a_folder.ipynb": ["fruit_cup_tool", "quote", "data:image/png;base64,"],
}


def test_every_notebook_is_tested() -> None:
    assert {path.name for path in FOLDER.glob("*.ipynb")} == set(SHOWN)


@pytest.mark.parametrize("name", sorted(SHOWN))
def test_a_notebook_is_valid_and_kept_without_outputs(name: str) -> None:
    book = nbformat.read(FOLDER / name, as_version=4)
    nbformat.validate(book)
    for cell in book.cells:
        assert cell.cell_type == "markdown" or (cell.outputs == [] and cell.execution_count is None)
        assert max(map(len, cell.source.splitlines())) <= 125


# The kernel speaks over sockets whose threads end after the test does.
@pytest.mark.filterwarnings("ignore")
@pytest.mark.parametrize("name", few_of(["plan_a_part.ipynb", "quote_a_folder.ipynb"], sorted(SHOWN)))
def test_a_notebook_runs(name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    # a kernel of this very Python, whatever others the user has
    kernels = tmp_path / "kernels" / "python3"
    kernels.mkdir(parents=True)
    words = f'["{sys.executable}", "-m", "ipykernel_launcher", "-f", "{{connection_file}}"]'
    (kernels / "kernel.json").write_text(f'{{"argv": {words}, "display_name": "Python 3", "language": "python"}}')
    monkeypatch.setenv("JUPYTER_PATH", str(tmp_path))
    monkeypatch.setenv("IPYTHONDIR", str(tmp_path / "ipython"))
    monkeypatch.setenv("PYTHONPATH", os.pathsep.join([str(FOLDER.parents[1]), os.environ.get("PYTHONPATH", "")]))
    # where all is asked for, all demo parts are in the folder that is quoted
    place = few_of(folder_beside_two_parts(tmp_path), FOLDER)
    book = nbformat.read(FOLDER / name, as_version=4)
    nbclient.NotebookClient(
        book, timeout=1200, kernel_name="python3", resources={"metadata": {"path": str(place)}}
    ).execute()
    shown = "\n".join(words_of(output) for cell in book.cells if cell.cell_type == "code" for output in cell.outputs)
    for words in SHOWN[name]:
        assert words in shown
    assert "Traceback" not in shown


def folder_beside_two_parts(where: Path) -> Path:
    """A folder for a notebook, with two of the demo parts where notebooks look for them."""
    meshes = where / "meshes"
    meshes.mkdir()
    for name in ("fruit_cup_tool.stl", "paddle_blade.stl"):
        shutil.copy(FOLDER.parents[1] / "meshes" / name, meshes)
    place = where / "docs" / "notebooks"
    place.mkdir(parents=True)
    return place


def words_of(output: Any) -> str:
    data = output.get("data", {})
    return "\n".join([output.get("text", ""), data.get("text/plain", ""), data.get("text/html", "")])
