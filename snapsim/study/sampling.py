"""Where the runs of a study lie: scrambled Sobol points, replicated.

Each replicate is a Sobol sequence with a scramble of its own (Owen 1998; `scipy.stats.qmc.Sobol`),
so the spread between replicates is an honest measure of error, which one low-discrepancy set alone
does not give. More samples extend a replicate, and keep the runs made so far.

For sensitivities a point has twice the dimensions: its halves are the rows of A and B, and AB_i is
A with column i of B (Saltelli et al. 2010, Comput. Phys. Commun. 181, 259, from memory).

Correlated keys share a Gaussian copula: u = Phi(L Phi^-1(v)), L the Cholesky factor of the
correlation matrix.
"""

from __future__ import annotations

import warnings
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from scipy import stats
from scipy.stats import qmc

from snapsim.arrays import Array, as_floats
from snapsim.errors import InputError
from snapsim.study.study_file import Study
from snapsim.work.interrupts import held_back

MATRIX_A, MATRIX_B, FIRST_AB = 0, 1, 2

_SAMPLES, _MATRICES, _REPLICATES = 10**6, 10**3, 10**2


@dataclass(frozen=True)
class RunSpot:
    """One run: `setup` number, `replicate`, `matrix` (0 A, 1 B, 2 + i AB_i), `sample`."""

    setup: int
    replicate: int
    matrix: int
    sample: int

    @property
    def number(self) -> int:
        """A number of its own, the same however many samples the study asks for."""
        block = (self.setup * _REPLICATES + self.replicate) * _MATRICES + self.matrix
        return block * _SAMPLES + self.sample

    @staticmethod
    def of(number: int) -> RunSpot:
        """Return the spot with this number."""
        block, sample = divmod(number, _SAMPLES)
        block, matrix = divmod(block, _MATRICES)
        return RunSpot(*divmod(block, _REPLICATES), matrix, sample)


def spots(study: Study) -> Iterator[tuple[RunSpot, Array]]:
    """Yield every run of a study and its shares (d,) in (0, 1), the same for all setups.

    In an order that fills the range early: sample by sample over all setups and replicates.
    """
    keys = list(study.vary)
    matrices = [_matrices(study, len(keys), r) for r in range(study.replicates)]
    for sample in range(study.samples if keys else 1):
        for replicate in range(study.replicates if keys else 1):
            for setup in range(max(1, len(study.setup))):
                for number, matrix in enumerate(matrices[replicate]):
                    yield RunSpot(setup, replicate, number, sample), matrix[sample]


def count(study: Study) -> int:
    """Return how many runs a study has."""
    setups = max(1, len(study.setup))
    if not study.vary:
        return setups
    matrices = len(study.vary) + 2 if study.sensitivities else 1
    return setups * study.replicates * study.samples * matrices


def _matrices(study: Study, d: int, replicate: int) -> list[Array]:
    if d == 0:
        return [np.empty((1, 0))]
    if not study.sensitivities:
        plain = sobol_shares(study, replicate)
        return [correlated_shares(stats.norm.ppf(plain), study) if study.correlated else plain]
    double = _sobol(study.samples, 2 * d, study.seed, replicate)
    a, b = double[:, :d], double[:, d:]
    mixed = [np.where(np.arange(d) == i, b, a) for i in range(d)]
    return [a, b, *mixed]


def _sobol(n: int, d: int, seed: int, replicate: int) -> Array:
    with held_back():  # its first use reads a table, and would swallow an interrupt there
        engine = qmc.Sobol(d, scramble=True, rng=np.random.default_rng([seed, replicate]))
    with warnings.catch_warnings():  # any number of samples is allowed; powers of 2 are best
        warnings.simplefilter("ignore", UserWarning)
        points: Array = engine.random(n)
    return np.clip(points, 1e-9, 1 - 1e-9)


def sobol_shares(study: Study, replicate: int) -> Array:
    """Return the shares (samples, d) of a replicate before keys are correlated."""
    return _sobol(study.samples, len(study.vary), study.seed, replicate)


def correlated_shares(scores: Array, study: Study) -> Array:
    """Return the shares (k, d) of independent standard normal scores (k, d)."""
    if study.correlated:
        scores = scores @ cholesky_factor(list(study.vary), study).T
    found: Array = stats.norm.cdf(scores)
    return found


def cholesky_factor(keys: Sequence[str], study: Study) -> Array:
    """Return the factor L (d, d) of the correlation matrix; raises InputError if there is none."""
    matrix = np.eye(len(keys))
    for pair in study.correlated:
        i, j = (keys.index(k) for k in pair.between)
        matrix[i, j] = matrix[j, i] = pair.correlation
    try:
        return as_floats(np.linalg.cholesky(matrix))
    except np.linalg.LinAlgError:
        raise InputError(
            "these correlations cannot hold together; make some of them smaller", key="correlated"
        ) from None
