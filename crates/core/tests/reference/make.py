"""Reference values for tests/rules_scipy.rs, by other means than the core's own.

Reads one JSON object of lists of inputs on standard input and writes one of lists of results.
Infinite numbers are the strings "inf" and "-inf". Needs scipy.
"""

import json
import math
import sys

import numpy as np
from scipy import integrate, optimize, stats
from scipy.special import log_ndtr


def between(a, b):
    """P(a < Z <= b) from logarithms of the normal distribution function, in the nearer tail."""
    if b <= a:
        return 0.0
    if a > 0:
        a, b = -b, -a
    high, low = log_ndtr(b), log_ndtr(a)
    if low == -math.inf:
        return math.exp(high)
    return math.exp(high) * -math.expm1(low - high)


def bands(case):
    """Five bins about a value, each by scipy.stats.norm on its own tail."""
    value, u = case["value"], case["u"]
    z = [(float(edge) - value) / u for edge in case["edges"]]
    ends = [-math.inf, *z, math.inf]
    return [between(a, b) for a, b in zip(ends, ends[1:])]


def within(case):
    """Conformity probability by scipy.stats.norm with location and scale."""
    law = stats.norm(loc=case["value"], scale=case["u"])
    low, high = float(case["lower"]), float(case["upper"])
    if low > case["value"]:
        return law.sf(low) - law.sf(high)
    return law.cdf(high) - law.cdf(low)


def uncertainty(case):
    """Standard deviations of two uniform distributions, added as variances."""
    step = 10.0 ** case["exponent"]
    value = case["mantissa"] * step
    a = case["percent"] / 100 * abs(value) + case["counts"] * step
    parts = [stats.uniform(-step / 2, step).var()]
    if a > 0:
        parts.append(stats.uniform(-a, 2 * a).var())
    return math.sqrt(sum(parts))


def resistance(case):
    """The law in its other form, with a temperature coefficient at 20 degrees Celsius."""
    alpha = 1 / (case["k"] + 20)
    at = lambda t: 1 + alpha * (t - 20)
    return case["r"] * at(case["to"]) / at(case["from"])


def temperature(case):
    """The temperature at which that law gives the resistance, by root finding."""
    gap = lambda t: resistance({**case, "r": case["r1"], "from": case["t1"], "to": t}) - case["r2"]
    return optimize.brentq(gap, -200, 5000, xtol=1e-10)


def insulation(case):
    """ln(R40 / Rt) as an integral of slope / T^2, or halving for every 10 K."""
    t = case["t"]
    if case["thermoplastic"]:
        return math.exp(math.log(0.5) * (40 - t) / 10)
    slope = 4230.0 if t >= 40 else 1245.0
    return math.exp(integrate.quad(lambda x: slope / x**2, 313, t + 273, epsabs=1e-13)[0])


def capacitance(case):
    """The capacitance whose reactance passes the current, by root finding in its logarithm."""
    def gap(log_c):
        impedance = abs(1 / (2j * math.pi * case["f"] * math.exp(log_c)))
        return math.log(case["v"] / impedance / case["i"])
    return math.exp(optimize.brentq(gap, math.log(1e-12), math.log(1.0), xtol=1e-14))


def discharge(case):
    """The moment at which an exponential has fallen to the voltage, by root finding."""
    tau = case["r"] * case["c"]
    gap = lambda t: case["from"] * math.exp(-t / tau) - case["to"]
    return optimize.brentq(gap, 0, 100 * tau, xtol=1e-14 * tau + 1e-300, rtol=1e-14)


def derating(case):
    """Straight lines between the points of the published curve reading."""
    x = [0, 0.01, 0.015, 0.02, 0.025, 0.03, 0.035, 0.04, 0.045, 0.05]
    y = [1, 1, 0.97, 0.95, 0.93, 0.89, 0.85, 0.82, 0.78, 0.76]
    return float(np.interp(case["share"], x, y))


def unbalance(case):
    """Largest deviation from the mean over the mean; its uncertainty by numeric differences."""
    share = lambda v: np.max(np.abs(v - np.mean(v))) / np.mean(v)
    v, u = np.array(case["v"]), np.array(case["u"])
    step = 1e-4
    slopes = [
        (share(v + step * e) - share(v - step * e)) / (2 * step) for e in np.eye(3)
    ]
    return [share(v), float(np.sqrt(np.sum((np.array(slopes) * u) ** 2)))]


def naming(case):
    """Which terminal is which, by summing the likelihood over a grid of windings.

    Flat in both windings, start over run, both at least nothing; the leads are one normal
    quantity in all three readings. Six numbers: (common, start) of AB, AC, BA, BC, CA, CB.
    """
    ab, bc, ac = case["ab"], case["bc"], case["ac"]
    pairs = {"ab": ab, "bc": bc, "ac": ac}
    lead, lead_u = case["leads"]
    weights = []
    for common, start, run in ("abc", "acb", "bac", "bca", "cab", "cba"):
        name = lambda p, q: "".join(sorted(p + q))
        read = [pairs[name(*x)] for x in ((common, start), (common, run), (start, run))]
        y = np.array([value - lead for value, _ in read])
        covariance = np.diag([u**2 for _, u in read]) + lead_u**2
        precision = np.linalg.inv(covariance)
        wide = 8 * math.sqrt(max(u for _, u in read) ** 2 + lead_u**2)
        s = np.linspace(y[0] - wide, y[0] + wide, 601)[:, None]
        r = np.linspace(y[1] - wide, y[1] + wide, 601)[None, :]
        miss = np.stack(np.broadcast_arrays(y[0] - s, y[1] - r, y[2] - s - r))
        squares = sum(precision[i, j] * miss[i] * miss[j] for i in range(3) for j in range(3))
        density = np.exp(-0.5 * squares)
        weights.append(float(np.sum(np.where(s > r, density, 0.0)) * wide**2))
    total = sum(weights)
    return [w / total for w in weights]


MEANS = {
    "between": lambda case: between(float(case["a"]), float(case["b"])),
    "bands": bands,
    "within": within,
    "uncertainty": uncertainty,
    "resistance": resistance,
    "temperature": temperature,
    "insulation": insulation,
    "capacitance": capacitance,
    "discharge": discharge,
    "derating": derating,
    "unbalance": unbalance,
    "naming": naming,
}


def main():
    asked = json.load(sys.stdin)
    json.dump({kind: [MEANS[kind](case) for case in cases] for kind, cases in asked.items()}, sys.stdout)


if __name__ == "__main__":
    main()
