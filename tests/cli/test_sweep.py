"""`sweep` and `rank` as a terminal user meets them."""

import pytest

STUDY = """
scene = "falling.toml"
samples = 2
replicates = 1
[vary]
"contact.restitution" = { uniform = [0.2, 0.4] }
"""


@pytest.fixture
def study(falling, tmp_path):
    (tmp_path / "s.study.toml").write_text(STUDY)
    return "s.study.toml"


def test_a_sweep_and_its_ranking(snap, study, tmp_path):
    swept = snap("sweep", study, "-o", "out", "--workers", "1", "--json")
    assert swept.status == 0
    assert swept.json["statuses"] == {"done": 2}
    assert swept.json["cautions"]
    ranked = snap("rank", "out", "-o", "r.csv", "-o", "r.html", "--json")
    assert ranked.status == 0
    assert ranked.json["rows"][0]["runs"] == 2
    assert "No result of this program is a permission" in (tmp_path / "r.html").read_text()
    assert "No result of this program is a permission" in snap("rank", "out").out
    assert snap("rank", "out", "-o", "r.csv").status == 2
    assert snap("plot", "out", "-o", "energies.svg").status == 0
    assert "effective energy" in (tmp_path / "energies.svg").read_text()


def test_slips_are_one_line_with_status_2(snap, study):
    for arguments, said in (
        (("sweep", study), "name a study file and -o DIR"),
        (("sweep", study, "-o", "out", "--keep", "some"), "allowed: none, thin, all"),
        (("sweep", "none.toml", "-o", "out"), "cannot be read"),
        (("rank", "nowhere"), "holds no sweep"),
        (("rank", "nowhere", "-o", "a.doc"), "ends in no format"),
    ):
        found = snap(*arguments)
        assert found.status == 2
        assert said in found.err
        assert found.err.count("\n") == 1
