"""Study files, sampling, chances, sensitivities."""

import json
import math
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from snapsim.errors import InputError
from snapsim.study.cases import cases
from snapsim.study.chance import chance
from snapsim.study.distributions import Distribution
from snapsim.study.runner import Options
from snapsim.study.sampling import RunSpot, count, spots
from snapsim.study.sensitivity import sobol_indices
from snapsim.study.study_file import load_study, study_from, study_from_text, study_schema

STUDY = """
scene = "falling.toml"
samples = 8
replicates = 2
[vary]
"body.ball.position.z" = { uniform = ["20 mm", "30 mm"] }
"contact.restitution" = { normal = [0.5, 0.05], between = [0.4, 0.6] }
"""


@pytest.fixture
def write(tmp_path, falling):
    (tmp_path / "falling.toml").write_text(falling)

    def make(text):
        path = tmp_path / "s.study.toml"
        path.write_text(text)
        return str(path)

    return make


def test_the_sobol_indices_of_the_ishigami_function():
    # f = sin x1 + a sin^2 x2 + b x3^4 sin x1 on [-pi, pi]^3, a = 7, b = 0.1: Ishigami and Homma
    # 1990; closed forms in Saltelli et al., Global Sensitivity Analysis, 2008, sec. 4.4 (from
    # memory): V1 = (1 + b pi^4/5)^2/2, V2 = a^2/8, V13 = 8 b^2 pi^8/225
    a, b = 7.0, 0.1
    v1, v2, v13 = (1 + b * math.pi**4 / 5) ** 2 / 2, a**2 / 8, 8 * b**2 * math.pi**8 / 225
    v = v1 + v2 + v13
    points = stats.qmc.Sobol(6, rng=np.random.default_rng(3)).random(2**12)

    def f(u):
        x1, x2, x3 = (2 * u - 1).T * math.pi
        return np.sin(x1) + a * np.sin(x2) ** 2 + b * x3**4 * np.sin(x1)

    A, B = points[:, :3], points[:, 3:]
    AB = [np.where(np.arange(3) == i, B, A) for i in range(3)]
    found = sobol_indices(f(A), f(B), np.array([f(m) for m in AB]))
    # 4096 rows: 2 % is about three of the bootstrap's standard errors
    assert found.first == pytest.approx([v1 / v, v2 / v, 0], abs=0.02)
    assert found.total == pytest.approx([(v1 + v13) / v, v2 / v, v13 / v], abs=0.02)
    # a general-purpose library's estimator of the same, its rows the same number
    other = stats.sobol_indices(
        func={"f_A": f(A)[None], "f_B": f(B)[None], "f_AB": np.array([f(m) for m in AB])[:, None]},
        n=2**12,
    )
    assert found.total == pytest.approx(other.total_order.ravel(), abs=0.005)
    assert found.first == pytest.approx(other.first_order.ravel(), abs=0.02)


def test_rows_with_a_failed_run_are_left_out_of_sensitivities():
    rng = np.random.default_rng(1)
    a, b, ab = rng.random(64), rng.random(64), rng.random((2, 64))
    a[3] = ab[1, 5] = np.nan
    assert sobol_indices(a, b, ab).rows == 62
    assert sobol_indices(a[:10], b[:10], ab[:, :10]) is None
    assert sobol_indices(np.ones(64), np.ones(64), np.ones((2, 64))) is None


def test_the_interval_of_a_chance_is_wilsons():
    # Wilson 1927: (p + z^2/2n +- z sqrt(p(1-p)/n + z^2/4n^2)) / (1 + z^2/n), z = 1.959964
    n, p, z = 40, 0.25, 1.959963985
    middle, half = p + z**2 / (2 * n), z * math.sqrt(p * (1 - p) / n + z**2 / (4 * n**2))
    found = chance([i % 4 == 0 for i in range(n)], [i // 10 for i in range(n)])
    assert (found.low, found.high) == pytest.approx(
        ((middle - half) / (1 + z**2 / n), (middle + half) / (1 + z**2 / n)), rel=1e-9
    )


def test_the_interval_between_replicates_is_students():
    # means 0.2, 0.4, 0.3 of three replicates of 10: mean 0.3, s/sqrt(3) = 0.1/sqrt(3); t of 2
    # degrees of freedom at 97.5 % is 4.3027 (any table of Student's distribution)
    hits = [k < n for n in (2, 4, 3) for k in range(10)]
    found = chance(hits, [r for r in range(3) for _ in range(10)])
    half = 4.3027 * 0.1 / math.sqrt(3)
    assert found.between_replicates(3) == pytest.approx((0.3 - half, 0.3 + half), abs=1e-4)
    assert chance([True, False], [0, 0]).between_replicates(1) is None


def test_the_interval_covers_the_true_chance_as_often_as_it_says():
    # Coverage of Wilson's interval summed over the binomial distribution: near 95 % for n = 64,
    # p = 0.1 to 0.9 (Brown, Cai and DasGupta 2001, Stat. Sci. 16, 101, fig. 5, from memory: 0.92
    # to 0.98)
    n = 64
    ends = [chance([True] * k + [False] * (n - k), [0] * n) for k in range(n + 1)]
    for p in (0.1, 0.3, 0.5, 0.9):
        weights = stats.binom.pmf(np.arange(n + 1), n, p)
        cover = sum(w for w, c in zip(weights, ends, strict=True) if c.low <= p <= c.high)
        assert 0.92 < cover < 0.98


@pytest.mark.parametrize(
    ("table", "same"),
    [
        ({"uniform": ["30 deg", "60 deg"]}, stats.uniform(30, 30)),
        ({"normal": [0.3, 0.05]}, stats.norm(0.3, 0.05)),
        ({"triangular": [1, 2, 4]}, stats.triang(1 / 3, 1, 3)),
    ],
)
def test_distributions_have_their_quantiles(table, same):
    spread = Distribution.model_validate(table)
    for u in (0.01, 0.5, 0.9):
        assert spread.at(u) == pytest.approx(same.ppf(u), rel=1e-12)


def test_a_weighted_list_gives_each_value_its_share():
    spread = Distribution.model_validate({"values": ["a", "b"], "weights": [1, 3]})
    drawn = [spread.at((i + 0.5) / 100) for i in range(100)]
    assert drawn.count("a") == 25


def test_correlated_keys_have_their_correlation(write):
    text = STUDY.replace("samples = 8", "samples = 512") + (
        '[[correlated]]\nbetween = ["body.ball.position.z", "contact.restitution"]\n'
        "correlation = 0.8\n"
    )
    study = load_study(write(text))
    shares = np.array([s for _, s in spots(study)])
    # of normal scores, 1024 Sobol points
    assert np.corrcoef(stats.norm.ppf(shares).T)[0, 1] == pytest.approx(0.8, abs=0.01)


def test_more_samples_keep_the_runs_made_so_far(write):
    study = load_study(write(STUDY))
    more = study.model_copy(update={"samples": 16})
    few, many = ({spot.number: tuple(shares) for spot, shares in spots(s)} for s in (study, more))
    assert len(few) == count(study) == 16
    assert few.items() <= many.items()
    assert all(RunSpot.of(s.number) == s for s, _ in spots(more))


def test_changes_are_those_of_the_scene_with_one_number_of_three(write):
    path = write(STUDY)
    ready = cases(load_study(path), path)
    spot, shares = next(spots(ready.study))
    height = 20 + 10 * shares[0]
    key, value = ready.changes(spot, shares)[0].split("=")
    assert key == "body.ball.position"
    assert float(json.loads(value).split(",")[2].split()[0]) == pytest.approx(height / 1e3)


def test_a_built_in_material_can_be_varied(write):
    path = write(
        STUDY.replace(
            "[vary]", "[vary]\nmaterial.aluminium.density = { relative = true, uniform = [0.9, 1] }"
        ).replace("material.aluminium.density", '"material.aluminium.density"')
    )
    ready = cases(load_study(path), path)
    # 2700 kg/m^3 (the built-in table) times 0.95 at the middle
    assert (
        'material.aluminium.density="2565.0 '
        in ready.changes(RunSpot(0, 0, 0, 0), np.full(3, 0.5))[0]
    )


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("samples = 8", "sampels = 8", 'sampels: is not a known key; did you mean "samples"'),
        ('"20 mm", "30 mm"', '"30 mm", "20 mm"', "uniform out of order"),
        ('"20 mm", "30 mm"', '"20 mm", "3 cm"', "several units"),
        ('"20 mm", "30 mm"', '"20 deg", "30 deg"', "cannot stand in"),
        ("body.ball.position.z", "body.bell.position.z", '"bell" is not there.*"?ball'),
        ("between = [0.4, 0.6]", "between = [0.4, 1.6]", "restitution"),
        (
            "normal = [0.5, 0.05]",
            "nromal = [0.5, 0.05]",
            'nromal: is not a known key; did you mean "normal". allowed: uniform, normal',
        ),
        ("normal = [0.5, 0.05]", "normal = [0.5]", r"normal\[2\]: is missing, and must be given"),
        (
            "normal = [0.5, 0.05]",
            f"normal = [0.5, {10**30}]",
            r"vary.\"contact.restitution\".normal\[2\]: is an integer of more than 64 bits",
        ),
        ("[vary]", '[[place]]\nbody = "bal"\nto = "table"\n[vary]', r'place\[1\].body.*"ball"\?'),
        ("[vary]", '[[place]]\nbody = "ball"\nto = "tabel"\n[vary]', 'to: "tabel" is no body'),
        ("[vary]", '[count.table_load]\ntabel = "300 N"\n[vary]', 'table_load.tabel: "tabel" is'),
        ("[vary]", '[count.table_load]\nball = "300 N"\n[vary]', "table_load.ball: is free"),
        ("falling.toml", "none.toml", "none.toml.*cannot be read"),
        ("replicates = 2", "sensitivities = true\nsamples = 6", "TOML"),
        ("[vary]", '[count]\nwhat = ["table_overloaded"]\n[vary]', "give table_load"),
        ("[vary]", '[count]\nwhat = ["snapp"]\n[vary]', "snapp"),
        ("samples = 8", "sensitivities = true\nsamples = 6", "power of 2"),
    ],
)
def test_a_slip_in_a_study_is_one_line_before_any_run(old, new, said, write):
    text = STUDY.replace(old, new)
    if said == "restitution":
        text = text.replace("[0.5, 0.05]", "[0.9, 0.4]")
    path = write(text)
    with pytest.raises(InputError, match=said) as found:
        cases(load_study(path), path)
    assert str(found.value).startswith(path)
    assert "\n" not in str(found.value)


def test_the_schema_has_every_key():
    properties = study_schema()["properties"]
    assert {"scene", "vary", "count", "samples", "setup", "place"} <= set(properties)


def test_a_study_that_varies_nothing_is_refused():
    with pytest.raises(InputError, match="varies nothing"):
        study_from({"scene": "a.toml"}, "s.toml")


STUDIES = sorted((Path(__file__).parents[2] / "scenarios").glob("*.study.toml"))


@pytest.mark.parametrize("path", STUDIES, ids=lambda p: p.stem)
def test_every_study_can_be_swept(path):
    found = cases(load_study(path), str(path))
    assert count(found.study) == sum(1 for _ in found.tasks(Options()))


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"novel": {"a": 1}}, "the study it holds: novel: is not a known key"),
        ({"samples": "many"}, "the study it holds: samples:"),
        ({"scene": None}, "the study it holds: scene:"),
    ],
)
def test_a_kept_study_of_another_version_is_refused_in_one_line_of_our_own(change, said):
    kept = {"scene": "a.toml", "vary": {"contact.friction": {"uniform": [0.1, 0.2]}}, "samples": 8}
    assert study_from_text(json.dumps(kept), "out").samples == 8
    with pytest.raises(InputError) as raised:
        study_from_text(json.dumps(kept | change), "out")
    line = str(raised.value)
    assert line.startswith("out: ")
    assert said in line
    assert "\n" not in line
    assert "http" not in line  # the models' library ends its own words with an address
