"""The line, its crossing and Wilson's interval by other means than the index: scipy's general
least squares, root finding on the confidence band, and scipy's own interval of a proportion.

Questions come as JSON on standard input, answers go as JSON to standard output."""
import json
import sys

import numpy as np
from scipy import optimize, stats


def line(case):
    t, y, u = (np.array(case[k], dtype=float) for k in ("t", "y", "u"))
    (a, b), cov = optimize.curve_fit(
        lambda x, a, b: a + b * x, t, y, p0=(y.mean(), 0.0), sigma=u, absolute_sigma=True
    )
    chi2 = float((((y - a - b * t) / u) ** 2).sum())
    free = len(t) - 2
    scale = max(1.0, chi2 / free)
    cov = cov * scale
    k = stats.t.ppf(0.975, free)
    answer = {
        "slope": b,
        "u_slope": cov[1, 1] ** 0.5,
        "chi2": chi2,
        "k": k,
        "height": a + b * case["at"],
        "u_height": (cov[0, 0] + 2 * case["at"] * cov[0, 1] + case["at"] ** 2 * cov[1, 1]) ** 0.5,
        "sloped": bool(abs(b) > k * cov[1, 1] ** 0.5),
    }
    if answer["sloped"]:
        limit = case["limit"]

        def band(x):
            """How far the limit is outside the confidence band: negative within it."""
            u = (cov[0, 0] + 2 * x * cov[0, 1] + x * x * cov[1, 1]) ** 0.5
            return abs(a + b * x - limit) - k * u

        at = (limit - a) / b
        ends = []
        for way in (-1.0, 1.0):
            step = 1e-3
            while band(at + way * step) < 0:
                step *= 1.5
            ends.append(optimize.brentq(band, at, at + way * step, xtol=1e-12, rtol=1e-14))
        answer.update({"at": at, "from": ends[0], "to": ends[1]})
    return answer


def share(case):
    ci = stats.binomtest(case["k"], case["n"]).proportion_ci(0.95, method="wilson")
    return {"from": ci.low, "to": ci.high}


asked = json.load(sys.stdin)
json.dump(
    {"lines": [line(c) for c in asked["lines"]], "shares": [share(c) for c in asked["shares"]]},
    sys.stdout,
)
