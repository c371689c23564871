"""Writes crates/core/src/refrigerant/fits.rs: saturation temperatures as Chebyshev series.

Run by hand, with the CoolProp of tests/requirements.txt:
    target/venv/bin/python tests/fits/saturation.py > crates/core/src/refrigerant/fits.rs
Its points are CoolProp's; the tests compare the series with other points of it, and with printed tables.
"""

import CoolProp.CoolProp as CP
import numpy as np
from numpy.polynomial import chebyshev

DEGREE = 7
ZERO = 273.15
# Lowest and highest temperature of each fit, degrees Celsius: below, nothing of the trade works; above,
# pseudo-pure and mixture models lose their way towards the critical point.
RANGES = {
    "R22": (-60, 90), "R134A": (-60, 90), "R32": (-60, 74), "R290": (-60, 90),
    "R410A": (-60, 67), "R407C": (-60, 72), "R454B": (-60, 70),
}


def pressure(name, quality):
    if name != "R454B":
        fluid = {"R134A": "R134a", "R290": "Propane"}.get(name, name)
        return lambda t: CP.PropsSI("P", "T", t, "Q", quality, fluid)
    # 68.9 % R-32 and 31.1 % R-1234yf by mass (ASHRAE 34).
    state = CP.AbstractState("HEOS", "R32&R1234yf")
    state.set_mass_fractions([0.689, 0.311])

    def of(t):
        state.update(CP.QT_INPUTS, quality, t)
        return state.p()

    return of


def points(name, quality, count):
    low, high = RANGES[name]
    of = pressure(name, quality)
    found = []
    for t in np.linspace(low + ZERO, high + ZERO, count):
        try:
            p = of(t)
        except ValueError:
            continue
        if np.isfinite(p):
            found.append((t, p))
    return np.array(found).T


def fit(name, quality):
    t, p = points(name, quality, 1201)
    log = np.log(p)
    x = (2 * log - log[0] - log[-1]) / (log[-1] - log[0])
    series = chebyshev.chebfit(x, t, DEGREE)
    off = np.abs(chebyshev.chebval(x, series) - t).max()
    return log[0], log[-1], series, off


def main():
    print("//! Saturation temperatures as Chebyshev series in the logarithm of the absolute pressure.")
    print("//!")
    print(f"//! Written by tests/fits/saturation.py from CoolProp {CP.get_global_param_string('version')}; not to be edited.")
    print("#![allow(clippy::excessive_precision, reason = \"coefficients as they were computed\")]\n")
    print("use super::saturation::Fit;\n")
    for name in RANGES:
        for quality, phase in ([(0, "BUBBLE"), (1, "DEW")] if name in ("R410A", "R407C", "R454B") else [(1, "PURE")]):
            low, high, series, off = fit(name, quality)
            print(f"/// Off by at most {off:.3f} K.")
            print(f"pub(super) const {name}_{phase}: Fit = Fit {{")
            print(f"    log_p: [{low:.9f}, {high:.9f}],")
            print("    series: [")
            for c in series:
                print(f"        {c:.9f},")
            print("    ],\n};")


if __name__ == "__main__":
    main()
