"""The figures of the shop bench by other means: sums of squares as lengths of projections on the
spaces that indicator columns span, distributions by scipy, the weighted mean as a linear filter."""

import json
import sys

import numpy as np
from scipy import signal, stats


def columns(labels):
    return (labels[:, None] == np.unique(labels)[None, :]).astype(float)


def left_over(space, values):
    fitted, *_ = np.linalg.lstsq(space, values, rcond=None)
    rest = values - space @ fitted
    return float(rest @ rest)


def study(case):
    values = np.array(case["values"])
    part, person = np.array(case["part"]), np.array(case["person"])
    ones = np.ones((len(values), 1))
    by_part = np.hstack([ones, columns(part)])
    by_person = np.hstack([ones, columns(person)])
    both = np.hstack([ones, columns(part), columns(person)])
    cells = columns(part * 1000 + person)
    whole = left_over(ones, values)
    squares = [
        whole - left_over(by_part, values),
        whole - left_over(by_person, values),
        left_over(both, values) - left_over(cells, values),
        left_over(cells, values),
    ]
    p, o = len(np.unique(part)), len(np.unique(person))
    r = len(values) // (p * o)
    freedom = [p - 1, o - 1, (p - 1) * (o - 1), p * o * (r - 1)]
    by_chance = None
    if o > 1:
        ratio = (squares[2] / freedom[2]) / (squares[3] / freedom[3])
        by_chance = float(stats.f.sf(ratio, freedom[2], freedom[3]))
    interval = [
        float(np.sqrt(squares[3] / stats.chi2.ppf(q, freedom[3]))) for q in (0.975, 0.025)
    ]
    return {"squares": squares, "freedom": freedom, "by_chance": by_chance, "interval": interval}


def alone(values, center, deviation):
    """Out beyond three deviations, with no neighbour out on the same side."""
    side = np.where(np.abs(values - center) > 3 * deviation, np.sign(values - center), 0)
    beside = np.pad(side, 1)
    return (side != 0) & (beside[:-2] != side) & (beside[2:] != side)


def scatter(values):
    # The mean range of two normal values, by integrating the range's distribution.
    d2 = 4 * stats.norm.expect(lambda x: x * stats.norm.cdf(x))
    return values.mean(), np.abs(np.diff(values)).mean() / d2


def chart(case):
    values = np.array(case["values"])
    baseline = case["baseline"]
    kept = ~alone(values, *scatter(values[:baseline]))[:baseline]
    center, deviation = scatter(values[:baseline][kept])
    weight = case["weight"]
    counted = ~alone(values, center, deviation)
    # y[n] = w x[n] + (1 - w) y[n-1], beginning at the center, over the readings that count.
    mean, _ = signal.lfilter([weight], [1, weight - 1], values[counted], zi=[(1 - weight) * center])
    n = np.cumsum(counted)
    mean = np.concatenate([[center], mean])[n]
    limit = 3 * deviation * np.sqrt(weight / (2 - weight) * (1 - (1 - weight) ** (2 * n)))
    return {"center": center, "deviation": deviation, "mean": list(mean), "limit": list(limit)}


asked = json.load(sys.stdin)
json.dump(
    {"studies": [study(c) for c in asked["studies"]], "charts": [chart(c) for c in asked["charts"]]},
    sys.stdout,
)
