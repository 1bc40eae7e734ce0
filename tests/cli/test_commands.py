"""What each command prints and writes."""

import json
import math
import tomllib
from pathlib import Path

import pytest

import snapsim
from snapsim.analysis.json_objects import VERSIONS, labelled

ALL = sorted((Path(__file__).parents[2] / "scenarios").glob("*.toml"))
SCENES = [p for p in ALL if p.suffixes == [".toml"]]


def test_help_names_every_command_and_the_caution(snap):
    result = snap("--help")
    assert result.status == 0
    for name in ("new", "check", "materials", "force", "release", "clip"):
        assert name in result.out
    assert "no permission" in result.out


def test_the_version_is_the_packages(snap):
    from importlib.metadata import version

    result = snap("--version")
    assert (result.status, result.out.splitlines()[0]) == (0, f"snapsim {version('snapsim')}")
    assert snapsim.__version__ == version("snapsim")


def test_new_writes_a_scene_that_check_accepts(snap, tmp_path):
    assert snap("new", "mine.toml").status == 0
    text = (tmp_path / "mine.toml").read_text()
    assert "snapsim check mine.toml" in text
    tomllib.loads(text)
    result = snap("check", "mine.toml", "--json")
    assert result.status == 0
    assert set(result.json["bodies"]) == {"magnet", "disc", "table"}
    assert result.json["warnings"] == []


def test_new_keeps_an_existing_file_unless_forced(snap, tmp_path):
    (tmp_path / "mine.toml").write_text("precious")
    result = snap("new", "mine.toml")
    assert result.status == 2
    assert result.err == (
        "snapsim: mine.toml: exists already; use --force to replace it, or another name\n"
    )
    assert (tmp_path / "mine.toml").read_text() == "precious"
    assert snap("new", "mine.toml", "--force").status == 0


def test_check_reports_mass_and_inertia_of_a_ball(snap, falling):
    ball = snap("check", falling, "--json").json["bodies"]["ball"]
    # m = rho pi d^3/6, I = 2/5 m r^2 (Goldstein, Poole & Safko, Classical Mechanics, 3rd ed.,
    # ch. 5; from memory)
    mass = 2700 * math.pi * 0.02**3 / 6
    assert ball["mass_kg"] == pytest.approx(mass, rel=1e-12)
    assert ball["inertia_kg_m2"][0][0] == pytest.approx(0.4 * mass * 1e-4, rel=1e-12)
    assert ball["cells"] == 0
    assert not ball["fixed"]


def test_check_says_where_a_compounds_centre_of_mass_is_in_its_drawing(snap, tmp_path):
    """Two cubes of 20 mm side by side, drawn from the first one's centre: 10 mm from that."""
    cube = '{ shape = { kind = "box", size = "20 x 20 x 20 mm" }, position = "%s, 0, 0 mm" }'
    (tmp_path / "two.toml").write_text(
        'title = "two"\n[[body]]\nname = "pair"\nmaterial = "oak"\nposition = "0, 0, 0 mm"\n'
        f'[body.shape]\nkind = "compound"\nmembers = [{cube % 0}, {cube % 20}]\n'
    )
    assert (
        "pair: its centre of mass is at 10, 0, 0 mm of its drawing" in snap("check", "two.toml").out
    )
    body = snap("check", "two.toml", "--json").json["bodies"]["pair"]
    assert body["centre_as_drawn_m"] == pytest.approx([0.01, 0, 0], abs=1e-12)


def test_check_counts_cells_of_soft_parts_and_more_of_them_with_detail(snap):
    scene = next(s for s in SCENES if s.stem == "gear-blank")
    counts = [
        snap("check", scene, "--json", "--set", f"run.detail={d}").json["bodies"]["blank"]["cells"]
        for d in ("draft", "normal", "fine")
    ]
    assert 0 < counts[0] < counts[1] < counts[2]


def test_check_warns_of_what_may_not_be_meant(snap, falling):
    warnings = snap("check", falling, "--json", "--set", "body.ball.fixed=true").json["warnings"]
    assert any("nothing will move" in w for w in warnings)
    assert any("no magnet" in w for w in warnings)
    assert "note: there is no magnet" in snap("check", falling).out


@pytest.mark.parametrize("scene", SCENES, ids=lambda p: p.stem)
def test_every_scene_passes_check(scene, snap):
    result = snap("check", scene)
    assert (result.status, result.err) == (0, "")


def test_the_schema_needs_no_file(snap):
    result = snap("check", "--schema")
    assert result.status == 0
    assert json.loads(result.out)["$schema"].startswith("https://json-schema.org/")


def test_materials_are_listed_with_every_source_in_json(snap):
    listed = snap("materials", "--json").json["materials"]
    assert len(listed) >= 20
    for material in listed:
        assert material["source"]
        assert material["density_kg_m3"] > 0
    iron = next(m for m in listed if m["name"] == "grey cast iron")
    assert iron["saturation_T"] == pytest.approx(1.60)
    assert len(iron["curve"]["field_strength_A_m"]) > 20


def test_one_material_is_shown_in_full(snap):
    text = snap("materials", "grey cast iron").out
    assert "7200 kg/m^3" in text
    assert "from memory" in text
    assert "Modelica" in text
    assert snap("materials", "NdFeB N45", "--json").json["remanence_T"] == 1.35


def test_an_unknown_material_suggests_the_nearest(snap):
    result = snap("materials", "ock")
    assert result.status == 2
    assert 'did you mean "oak"?' in result.err


def test_force_prints_one_json_object(snap):
    scene = next(s for s in SCENES if s.stem == "gear-blank")
    result = snap("force", scene, "--json", "--set", "run.detail=draft")
    assert (result.status, result.err) == (0, "")
    blank, magnet = result.json["bodies"]["blank"], result.json["bodies"]["magnet"]
    assert blank["force_N"][2] > 0  # the magnet is above: it pulls up
    assert magnet["mean_polarisation_T"] == pytest.approx([0, 0, -1.35])
    check = snap("check", scene, "--json", "--set", "run.detail=draft").json
    assert blank["cells"] == check["bodies"]["blank"]["cells"] > 0


def test_force_prints_a_table_with_cautions(snap):
    scene = next(s for s in SCENES if s.stem == "bearing-ball")
    result = snap("force", scene, "--set", "run.detail=draft")
    assert "magnetic energy" in result.out
    assert "No result of this program is a permission" in result.out


def test_release_prints_the_first_impact_of_a_fall(snap, falling):
    result = snap("release", falling, "--json")
    assert (result.status, result.err) == (0, "")
    first = result.json["impacts"][0]
    # free fall of 20 mm: t = sqrt(2h/g), v = sqrt(2gh) (Galilei)
    assert first["time_s"] == pytest.approx(math.sqrt(0.04 / 9.80665), rel=1e-6)
    assert first["closing_speed_m_s"] == pytest.approx(math.sqrt(0.04 * 9.80665), rel=1e-6)
    assert (first["body"], first["against"]) == ("ball", "table")


def test_release_twice_gives_the_same_numbers(snap, falling):
    one, two = (snap("release", falling, "--json").json for _ in range(2))
    assert one["cost"].pop("wall_s") > 0
    assert two["cost"].pop("wall_s") > 0
    assert one == two


def test_release_writes_a_run_that_reads_back(snap, falling, tmp_path):
    result = snap("release", falling, "-o", "run.h5", "--json", "--set", "contact.restitution=0.2")
    assert result.status == 0
    run = snapsim.read_run(tmp_path / "run.h5")
    assert labelled("release", snapsim.summary(run)) == result.json
    assert run.system.surfaces.default.restitution == 0.2
    assert run.system.source == (tmp_path / falling).read_text()
    assert run.system.extra["changes"] == "contact.restitution=0.2"


def test_release_prints_a_table_with_cautions(snap, falling):
    result = snap("release", falling, "-o", "run.h5")
    assert "Impacts" in result.out
    assert "wrote run.h5" in result.out
    assert "No result of this program is a permission" in result.out


def test_release_says_which_figures_a_twin_repeats(snap, falling):
    found = snap("release", falling, "--json").json["twins"]
    assert (found["asked"], found["compared"]) == (1, 1)
    speed = found["outputs"]["first_blow.closing_speed_m_s"]
    assert (speed["mark"], len(speed["values"])) == ("reproducible", 2)
    unchecked = snap("release", falling, "--json", "--twins", "0").json["twins"]
    assert (unchecked["asked"], unchecked["outputs"]) == (0, {})
    assert "not checked" in snap("release", falling, "--twins", "0").out


def test_every_command_with_json_has_a_named_object(snap):
    """The objects themselves are looked at wherever a test reads one (`conftest.Result.json`)."""
    from snapsim.cli.entry import app

    names = {c.callback.__name__ for c in app.registered_commands}
    assert "release" in names
    assert names - set(VERSIONS) <= {"plot"}  # which writes a picture only


@pytest.mark.parametrize("command", [[], ["force"], ["sweep"]])
def test_the_short_question_for_help_is_answered(command, snap):
    asked = [snap(*command, question) for question in ("-h", "--help")]
    assert [a.status for a in asked] == [0, 0]
    assert asked[0].out == asked[1].out != ""
