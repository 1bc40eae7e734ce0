"""The guide's chapter on Python runs as it stands, in a real Jupyter kernel."""

import re
from importlib.resources import files

import nbformat
import pytest
from nbclient import NotebookClient

CHAPTER = files("snapsim").joinpath("guide/python.md").read_text(encoding="utf-8")
CELLS = re.findall(r"^```python\n(.*?)^```$", CHAPTER, re.MULTILINE | re.DOTALL)


@pytest.fixture(scope="module")
def outputs(tmp_path_factory):
    """What each cell left, in order: text and kinds of display."""
    book = nbformat.v4.new_notebook(cells=[nbformat.v4.new_code_cell(c) for c in CELLS])
    folder = tmp_path_factory.mktemp("notebook")
    client = NotebookClient(
        book, timeout=600, kernel_name="python3", resources={"metadata": {"path": str(folder)}}
    )
    client.execute()  # raises where a cell does
    return folder, [cell.outputs for cell in book.cells]


def _shown(cell):
    return {kind for output in cell if "data" in output for kind in output.data}


def _text(cell):
    return "".join(o.get("text", "") for o in cell)


def test_ten_snippets_run(outputs):
    folder, cells = outputs
    assert len(re.findall(r"^## \d+\.", CHAPTER, re.MULTILINE)) == 10
    assert len(cells) == len(CELLS) == 13
    assert (folder / "disc.h5").stat().st_size > 1000
    assert (folder / "disc.glb").read_bytes()[:4] == b"glTF"


def test_scene_run_and_figure_are_shown_as_what_they_are(outputs):
    _, cells = outputs
    assert "text/html" in _shown(cells[0])  # the scene
    assert "text/html" in _shown(cells[3])  # the run
    assert "text/html" in _shown(cells[4])  # the data frame
    assert "image/png" in _shown(cells[6])  # the figure


def test_what_is_wrong_is_one_line(outputs):
    _, cells = outputs
    assert _text(cells[-1]).count("\n") == 1
    assert "three lengths" in _text(cells[-1])


def test_a_force_with_its_unit_is_that_force(outputs):
    _, cells = outputs
    newton, pound = re.findall(r"\[([^\]]+)\]", _text(cells[2]))
    n, p = ([float(x) for x in text.split()] for text in (newton, pound))
    # 1 lbf = 4.4482216152605 N exactly (NIST SP 811, 2008, app. B.8)
    assert n == pytest.approx([4.4482216152605 * x for x in p], rel=1e-6, abs=1e-6)
