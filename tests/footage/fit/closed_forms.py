"""Predictors of motions with a closed form: the fit's own code, without any release."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np

from snapsim.footage.fit.contract import Prediction, Query


@dataclass
class ClosedForm:
    """`places(values, times, whole)` (m, 2) and `blow(values)`; unknowns between `low`, `high`."""

    places: Callable
    low: np.ndarray
    high: np.ndarray
    time: np.ndarray
    tracked: np.ndarray
    blow: Callable = lambda values: np.inf
    weight: np.ndarray = field(init=False)
    asked: int = 0

    def __post_init__(self):
        self.size = len(self.low)
        self.weight = np.ones(len(self.time))

    def values(self, shares):
        return self.low + shares * (self.high - self.low)

    def ask(self, queries: Sequence[Query]) -> list[Prediction]:
        self.asked += len(queries)
        out = []
        for q in queries:
            values = self.values(q.shares)
            first = self.blow(values)
            times = self.time.copy()
            if q.delay:
                late = times >= first + q.delay
                times = np.where(late, times - q.delay, np.minimum(times, first))
            if not q.whole:
                times = np.minimum(times, first)
            out.append(Prediction(self.places(values, times), first))
        return out
