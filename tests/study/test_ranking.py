"""The hazard table: quantiles, limits, what it says."""

import csv
import json
import re
import sys
from concurrent.futures import ThreadPoolExecutor
from html.parser import HTMLParser
from pathlib import Path

import pytest

import snapsim
from snapsim.analysis.json_objects import labelled
from snapsim.errors import InputError
from snapsim.scenario.loading import scene_from_text
from snapsim.study.hazard_limits import standards
from snapsim.study.limit_verdict import verdict, verdict_words
from snapsim.study.ranking import rank
from snapsim.study.report import report
from snapsim.study.report.rig import rig
from snapsim.study.rig_views import rig_views
from snapsim.study.study_file import load_study
from snapsim.study.sweep import SweepOptions, sweep
from snapsim.study.table_files import rank_csv, rank_json, write_parquet

SCENARIOS = Path(__file__).parents[2] / "scenarios"

STUDY = """
title = "A ball from an unknown height"
scene = "falling.toml"
samples = 16
replicates = 1
sensitivities = true
[set]
"run.duration" = "0.075 s"
[vary]
"body.ball.position.z" = { uniform = ["15 mm", "25 mm"] }
"contact.friction" = { uniform = [0.1, 0.5] }
[[setup]]
name = "aluminium"
[[setup]]
name = "heavy"
set = { "body.ball.material" = "copper" }
"""


@pytest.fixture(scope="module")
def ranked(tmp_path_factory, falling):
    folder = tmp_path_factory.mktemp("study")
    (folder / "falling.toml").write_text(falling)
    path = folder / "s.study.toml"
    path.write_text(STUDY)
    sweep(
        load_study(path), path, folder / "out", SweepOptions(executor=lambda: ThreadPoolExecutor(1))
    )
    return folder, rank([folder / "out"])


def test_energies_are_those_of_the_fall(ranked):
    _, result = ranked
    rows = {r["setup"]: r for r in result["rows"]}
    # E = m g h, h uniform on 5 to 15 mm: its 95 % quantile is 14.5 mm; m = density 4/3 pi r^3
    # (2700 and 8960 kg/m^3, the table of materials); 32 Sobol points: half a step is 2 % of it
    for name, density in (("aluminium", 2700), ("heavy", 8960)):
        mass = density * 4 / 3 * 3.14159265 * 0.01**3
        energy = rows[name]["measures"]["impact_energy_J"]
        assert energy["median"] == pytest.approx(mass * 9.80665 * 0.010, rel=0.04)
        assert energy["p95"] == pytest.approx(mass * 9.80665 * 0.0145, rel=0.03)
        assert energy["worst"] < mass * 9.80665 * 0.015 * (1 + 1e-6)
    assert [r["setup"] for r in result["rows"]] == ["heavy", "aluminium"]


def test_only_the_height_matters_to_a_fall(ranked):
    _, result = ranked
    inputs = result["rows"][0]["inputs"]
    assert inputs["method"] == "Sobol indices"
    assert inputs["inputs"][0]["key"] == "body.ball.position.z"
    # energy is linear in height alone: indices 1 and 0
    assert inputs["inputs"][0]["total"] == pytest.approx(1, abs=0.4)  # 16 rows
    assert inputs["inputs"][1]["total"] == pytest.approx(0, abs=1e-9)


def test_a_house_limit_is_counted(ranked, tmp_path):
    folder, _ = ranked
    house = tmp_path / "house.toml"
    house.write_text(
        'standard = "house rule"\nedition = "1"\nclause = "1"\nprotects = "toes"\n'
        '[[limit]]\nname = "speed"\nmeasure = "speed_m_s"\nmost = 0.4429\nunit = "m/s"\n'
        'known = "our own"\n'
    )
    row = rank([folder / "out"], [str(house)])["rows"][0]
    found = next(x for x in row["limits"] if x["standard"] == "house rule")
    # v = 0.4429 m/s after 10 mm: half of the range falls faster, and 32 stratified points say so
    assert found["exceeded_in"] == 16
    assert "exceeded in 16 of 32 runs" in found["says"]


def test_a_limit_not_exceeded_is_no_safety(ranked):
    _, result = ranked
    toecap = next(x for x in result["rows"][0]["limits"] if x["name"] == "toecap, impact")
    assert toecap["exceeded_in"] == 0
    assert toecap["says"].endswith("that shows no safety")


def test_every_output_has_the_cautions_and_the_page_fetches_nothing(ranked):
    _, result = ranked
    page, table = report(result), rank_csv(result)
    for caution in result["cautions"]:
        assert caution in page
        assert caution in table
    assert "http" not in page.replace("http-equiv", "")
    assert page.count("data:image/svg+xml") == 1
    rows = list(csv.DictReader(line for line in table.splitlines() if not line.startswith("#")))
    assert float(rows[0]["snap chance"]) == 0
    assert json.loads(rank_json(result)) == labelled("rank", result)


class Elements(HTMLParser):
    """The elements and their attributes' names in a page, in order, and its text."""

    def __init__(self, page):
        super().__init__()
        self.found, self.text = [], ""
        self.feed(page)
        self.close()

    def handle_starttag(self, tag, attrs):
        self.found.append((tag, [name for name, _ in attrs]))

    def handle_data(self, data):
        self.text += data


HOSTILE = "</script><script>alert(1)</script>\"'>&amp;{{ 1 }}"


def spoilt(here, key=""):
    """The result with something nasty behind each name and text that a page shows."""
    if isinstance(here, dict):
        return {k: spoilt(v, k) for k, v in here.items()}
    if isinstance(here, list):
        return [spoilt(v, key) for v in here]
    plain = not isinstance(here, str) or key in ("unit", "measure", "side", "method", "kind")
    return here if plain else here + HOSTILE


def test_names_of_any_kind_are_text_and_never_elements(ranked):
    _, result = ranked
    result = json.loads(json.dumps(result))
    result["rows"][0]["hands"] = {"rim": {"gap_m": 0.025, "closes": None, "before_reaction": None}}
    page, clean = Elements(report(spoilt(result))), Elements(report(result))
    assert page.found == clean.found
    assert HOSTILE in page.text
    assert page.text.count(HOSTILE) > 60


def test_the_rig_is_drawn_where_it_is_with_its_hands_and_the_reach_of_its_field(tmp_path):
    """A block of 120 x 40 mm, its centre 20 mm up: its outline in the drawing, back in mm."""
    scene = snapsim.load_scene(SCENARIOS / "spanner-on-a-bench.toml")
    views = rig_views(scene)
    row = {"rig": json.loads(json.dumps(views)), "stray_field": [{"distance_m": 0.5}]}
    front, above, reach = rig(row).drawings
    number = next(str(n) for n, b in enumerate(scene.bodies, 1) if b.name == "bench")
    bench = scene.bodies[int(number) - 1]
    shape = next(s for s in front.shapes if s.mark == number)
    x = [float(v.split()[0]) for v in re.split("[MLZ]+ ?", shape.path) if v.strip()]
    mm = (max(x) - min(x)) / front.bar * 100
    assert mm == pytest.approx(2e3 * bench.shape.extents[0], rel=1e-3)
    assert [s.kind for s in above.shapes].count("hand") == len(scene.hands) == 1
    (_, _, radius, _), (_, _, person, _) = reach.circles
    assert radius / person == pytest.approx(0.5 / 0.25)
    assert any(scene.hands[0].name in what for _, what in rig(row).names)
    # its middle is where the reach is told from: of two unequal magnets, nearer to the stronger
    text = (SCENARIOS / "two-magnets.toml").read_text()
    pair = scene_from_text(text.replace("25 x 50 x 50 mm", "25 x 200 x 50 mm", 1), "x.toml", ())
    # at -72.5 and 72.5 mm, the first four times as strong: 0.8 * -72.5 + 0.2 * 72.5
    assert rig_views(pair)["magnets_centre"] == pytest.approx([-43.5, 0.0], abs=0.06)
    # what a ledger of an earlier version, or a damaged one, says draws nothing
    for nothing in (None, [], {"bodies": [{}], "hands": []}, {**views, "bodies": 3}):
        assert rig({"rig": nothing, "stray_field": []}) is None


def test_a_parquet_file_holds_the_columns_of_the_csv_and_the_cautions(ranked, tmp_path):
    import pyarrow.parquet

    _, result = ranked
    write_parquet(result, tmp_path / "r.parquet")
    table = pyarrow.parquet.read_table(tmp_path / "r.parquet")
    lines = [x for x in rank_csv(result).splitlines() if not x.startswith("#")]
    written = list(csv.DictReader(lines))
    assert table.column_names == list(written[0])
    for row, line in zip(table.to_pylist(), written, strict=True):
        assert {k: "" if v is None else str(v) for k, v in row.items()} == line
    said = table.schema.metadata[b"cautions"].decode()
    assert all(c in said for c in result["cautions"])


def test_without_pyarrow_parquet_is_refused_in_one_line(ranked, tmp_path, monkeypatch):
    monkeypatch.setitem(sys.modules, "pyarrow", None)
    with pytest.raises(InputError, match=r'pip install "snapsim\[export\]"'):
        write_parquet(ranked[1], tmp_path / "r.parquet")


def test_what_protection_is_not_enough_stands_in_every_output(ranked, tmp_path):
    """A ball of copper (37.5 g) falls 15 mm at most: 5.5 mJ; a house glove is rated for 2 mJ."""
    folder, _ = ranked
    house = tmp_path / "glove.toml"
    house.write_text(
        'standard = "house glove"\nedition = "1"\nclause = "1"\nprotects = "knuckles"\n'
        'equipment = "thin glove"\n'
        '[[limit]]\nname = "rated"\nmeasure = "effective_energy_J"\nmost = 0.002\nunit = "J"\n'
        'known = "our own"\n'
    )
    result = rank([folder / "out"], [str(house)])
    rows = {r["setup"]: {p["equipment"]: p for p in r["protection"]} for r in result["rows"]}
    assert rows["heavy"]["thin glove"]["not_enough"]
    assert not rows["aluminium"]["thin glove"]["not_enough"]
    assert not rows["heavy"]["safety toecap"]["not_enough"]
    assert rows["heavy"]["safety toecap"]["says"].endswith("that shows no safety")
    line = next(csv.DictReader(rank_csv(result).splitlines()))
    assert line["protection not enough"] == "thin glove"
    assert "thin glove is not enough" in report(result)


def test_a_sweep_that_is_not_whole_says_what_is_missing(ranked, tmp_path, falling):
    _, result = ranked
    assert all(r["runs"] == r["planned"] == 32 for r in result["rows"])
    (tmp_path / "falling.toml").write_text(falling)
    path = tmp_path / "s.study.toml"
    path.write_text(STUDY)

    def interrupt(standing):
        if standing.fresh == 3:
            raise KeyboardInterrupt

    one = SweepOptions(executor=lambda: ThreadPoolExecutor(1))
    with pytest.raises(KeyboardInterrupt):
        sweep(load_study(path), path, tmp_path / "out", one, interrupt)
    part = rank([tmp_path / "out"])
    missing = sum(32 - r["runs"] for r in part["rows"])
    assert f"{32 - part['rows'][0]['runs']} not computed yet" in report(part)
    assert missing > 0


def test_only_what_a_study_counts_is_a_column(ranked):
    _, result = ranked
    counted = ["snap", "pinch", "magnet_struck", "string_broken"]
    assert all(list(r["chances"]) == counted for r in result["rows"])
    assert result["rows"][0]["chances"]["pinch"]["chance"] is None  # no [[hand]] in the scene


def test_every_limit_says_how_it_is_known():
    limits = {x.name: x for s in standards() for x in s.limit}
    assert all(s.edition and s.clause for s in standards())
    # ISO/TS 15066:2016 Annex A, hands and fingers: 140 N quasi-static, twice that in a blow (from
    # memory); EN 166, 7.1.4.2: 43 g at 5.1 m/s; ISO 16321-1 E: a 6 mm steel ball, 7850 kg/m^3, at
    # 120 m/s (from memory); ISO 20345: 200 J and 15 kN
    assert limits["clamp force on a hand or finger"].bound == 140
    assert limits["blow on a hand or finger, force"].bound == 280
    energy = 0.5 * 0.043 * 5.1**2
    assert limits["spectacles, 43 g ball at 5.1 m/s"].bound == pytest.approx(energy, abs=0.005)
    ball = 0.5 * 7850 * 3.14159265 / 6 * 0.006**3 * 120**2
    assert limits["face shield, 6 mm ball at 120 m/s"].bound == pytest.approx(ball, rel=0.04)
    assert (limits["toecap, impact"].bound, limits["toecap, compression"].bound) == (200, 15e3)


def test_a_directory_without_a_sweep_is_one_line(tmp_path):
    with pytest.raises(InputError, match="holds no sweep"):
        rank([tmp_path])


@pytest.mark.parametrize(
    ("beyond", "known", "code", "words"),
    [
        (0, 0, "not_judged", "not judged: no run gave this number"),
        (3, 20, "exceeded", "limit exceeded: exceeded in 3 of 32 runs"),
        (0, 32, "not_exceeded", "not exceeded in these 32 runs; that shows no safety"),
        (
            0,
            20,
            "not_exceeded",
            "not exceeded in the 20 of 32 runs that gave this number; that shows no safety",
        ),
    ],
)
def test_a_limit_is_judged_on_the_runs_that_gave_its_number_and_says_so(beyond, known, code, words):
    """Said of all 32 where only 20 gave the number it would be falsely reassuring."""
    assert verdict(beyond, known) == code
    assert verdict_words(verdict(beyond, known), "", beyond, known, 32) == words


def test_a_report_says_when_by_whom_and_with_what_it_was_made(ranked):
    from snapsim.study.report import about_now, report

    _, result = ranked
    page = report(result, about_now("A <dry> run", "the stage crew"))
    assert "<h1>A &lt;dry&gt; run</h1>" in page
    assert "run by the stage crew" in page
    assert "snapsim 0." in page
    assert "a reminder, no permission" in page
