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


def cooldown(case):
    """Cooling behind an open protector, from the joint normal distribution of all readings.

    For each time constant the covariance matrix of all readings, of the ambient and of the rise is
    written down and conditioned on at once; the time constants are summed over a grid of their own,
    and the moments found by root finding. Seven numbers: the winding now and its uncertainty, the
    three moments in seconds after the last look at C, the probability of open then, and the mean
    time constant.
    """
    z_95 = stats.norm.ppf(0.95)
    low, high = np.log(60 * 30.0), np.log(60 * 90.0)
    law = stats.norm((low + high) / 2, (high - low) / 2 / z_95)
    ln_tau = np.linspace(law.ppf(1e-7), law.isf(1e-7), 1201)
    tau = np.exp(ln_tau)
    reset = stats.norm((60 + 90) / 2, (90 - 60) / 2 / z_95)
    start = stats.norm((60 + 135) / 2, (135 - 60) / 2 / z_95)
    ta, u_a = case["ambient"]
    (r0, u_r0), (t0, u_t0), k = case["cold"], case["cold_at"], case["k"]
    slope = (k + t0) / r0
    share = math.hypot(u_r0 / r0, u_t0 / (k + t0))
    t, r, u, step = (np.array(x) for x in case["samples"])
    first = min(0.0, t.min())
    rounding = step / math.sqrt(12)
    offset = np.sqrt(np.max(u**2 - rounding**2))
    absolute = slope * r
    y = absolute - k
    mean_d, sd_d = start.mean() - ta, start.std()
    e = np.exp(-(t - first) / tau[:, None])
    c = (
        u_a**2
        + sd_d**2 * e[:, :, None] * e[:, None, :]
        + share**2 * np.outer(absolute, absolute)
        + (slope * offset) ** 2
        + np.diag(1.0 + (slope * rounding) ** 2)
    )
    off = y - (ta + mean_d * e)
    solved = np.linalg.solve(c, off[:, :, None])[:, :, 0]
    log_weight = -0.5 * (np.linalg.slogdet(c)[1] + np.sum(off * solved, axis=1))
    weight = np.exp(log_weight - log_weight.max()) * law.pdf(ln_tau)
    weight /= weight.sum()
    cross = np.stack([np.full(e.shape, u_a**2), sd_d**2 * e], axis=1)
    mean = np.array([ta, mean_d]) + np.einsum("kin,kn->ki", cross, solved)
    cov = np.diag([u_a**2, sd_d**2]) - cross @ np.linalg.solve(c, cross.transpose(0, 2, 1))
    (a, d), (aa, ad, dd) = mean.T, (cov[:, 0, 0], cov[:, 0, 1], cov[:, 1, 1])

    def winding(at):
        e = np.exp(-(at - first) / tau)
        return a + d * e, aa + 2 * e * ad + e * e * dd

    def over(at):
        m, v = winding(at)
        return float(np.sum(weight * stats.norm.cdf((m - reset.mean()) / np.sqrt(v + reset.var()))))

    def mixture(at):
        m, v = winding(at)
        mean = np.sum(weight * m)
        return float(mean), float(math.sqrt(np.sum(weight * (v + (m - mean) ** 2))))

    opened = case["open"]
    then = over(opened)
    by = lambda p: optimize.brentq(lambda x: over(opened + x) / then - p, 0.0, 86400.0)
    return [
        *mixture(case["now"]),
        by(0.9),
        by(0.5),
        by(0.1),
        then,
        float(np.sum(weight * tau)),
    ]


MEANS = {
    "cooldown": cooldown,
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
