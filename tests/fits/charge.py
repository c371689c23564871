"""Units with a fault of their charge, their air or their parts, drawn and solved by cycle.py.

Run by hand, with the libraries of tests/requirements.txt:
    target/venv/bin/python tests/fits/charge.py > crates/core/src/refrigerant/charge/samples.rs
writes the samples that the core reasons with. The tests run it with a number of units and a seed,
    target/venv/bin/python tests/fits/charge.py units 20 7
for readings of fresh units, a line for each, and with
    target/venv/bin/python tests/fits/charge.py signs
for which way each quantity goes under each fault.
"""

import sys

import cycle
import numpy as np

SAMPLES = 32
FEATURES = ["superheat", "subcooling", "split", "condensing", "evaporating"]
METERING = ["orifice", "valve"]
# Half kelvins, and the furthest that is told apart.
STEP, FURTHEST = 0.5, 24


def faults(rng, metering):
    """A severity that is felt, of each fault, in the order of the core's table."""
    u = lambda low, high: float(rng.uniform(low, high))
    valve = metering == "valve"
    return {
        "none": {},
        "low-charge": {"charge": u(0.65, 0.90)},
        "high-charge": {"charge": u(1.10, 1.40)},
        "restriction": {"restriction": u(0.5, 1.0) if valve else u(0.6, 1.5)},
        "overfeeding": {"stuck": u(1.4, 2.2) if valve else u(1.25, 1.7)},
        "low-indoor-air": {"indoor": u(0.40, 0.75)},
        "low-outdoor-air": {"outdoor": u(0.35, 0.70), "film": u(0.8, 1.0)},
        "non-condensables": {"gas": u(0.04, 0.15), "film": u(0.85, 1.0)},
        "valve-leak": {"leak": u(0.15, 0.45)},
    }


def target(air):
    """Superheat of a fixed orifice, the trade's formula."""
    f = lambda t: t * 1.8 + 32
    return (3 * f(air.wet_bulb) - 80 - f(air.outdoor)) / 3.6


def weather(rng, metering):
    """Air in which a charge can be proven."""
    while True:
        metres = rng.uniform(0, 2500)
        air = cycle.Weather(
            rng.uniform(13, 46), rng.uniform(20, 30), rng.uniform(0.25, 0.75),
            cycle.SEA * (1 - 2.25577e-5 * metres) ** 5.25588,
        )
        air.metres = metres
        if 10 <= air.wet_bulb <= 24.4 and (metering == "valve" or target(air) >= 5 / 1.8):
            return air


def run(rng, metering, fault):
    while True:
        unit, air = cycle.Unit(rng, metering), weather(rng, metering)
        put_in = dict(faults(rng, metering)[fault])
        if "gas" in put_in:
            put_in["gas"] *= unit.fluid.at(unit.fluid.p_bubble, 45.0)
        shown = unit.run(air, put_in)
        if shown and shown["condensing"] < 64:
            return unit, air, shown


def features(unit, air, shown):
    return [
        shown["superheat"] - (target(air) if unit.metering == "orifice" else 0),
        shown["subcooling"] - (unit.subcooling if unit.metering == "valve" else 0),
        shown["split"],
        shown["condensing"] - air.outdoor,
        air.wet_bulb - shown["evaporating"],
    ]


def terms(air):
    return [1.0, air.outdoor - 25, air.wet_bulb - 17, air.indoor - 25, air.pressure / cycle.SEA - 1]


def expected(rng, metering, count=2000):
    rows, found = [], []
    for _ in range(count):
        unit, air, shown = run(rng, metering, "none")
        rows.append(terms(air))
        found.append(features(unit, air, shown))
    rows, found = np.array(rows), np.array(found)
    fit = np.linalg.lstsq(rows, found, rcond=None)[0]
    return fit, (found - rows @ fit).std(axis=0)


def table():
    print("//! Units that run well, and units with one fault: how far each quantity is from what is expected.")
    print("//!")
    print(f"//! Written by tests/fits/charge.py with CoolProp {cycle.CP.get_global_param_string('version')}; not to be edited.\n")
    print("use super::table::Samples;\n")
    for metering in METERING:
        rng = np.random.default_rng(1)
        fit, spread = expected(rng, metering)
        name = {"orifice": "FIXED_ORIFICE", "valve": "EXPANSION_VALVE"}[metering]
        print(f"pub(super) static {name}: Samples = Samples {{")
        print("    expected: [")
        for j in range(len(FEATURES)):
            print("        [" + ", ".join(f"{c:.4f}" for c in fit[:, j]) + "],")
        print("    ],\n    spread: [" + ", ".join(f"{s:.3f}" for s in spread) + "],\n    units: [")
        for fault in faults(rng, metering):
            drawn = []
            for _ in range(SAMPLES):
                unit, air, shown = run(rng, metering, fault)
                off = np.array(features(unit, air, shown)) - terms(air) @ fit
                drawn.extend(np.clip(np.rint(off / STEP), -FURTHEST, FURTHEST).astype(int))
            print(f"        // {fault}")
            print("        [" + ", ".join(map(str, drawn)) + "],")
        print("    ],\n};\n")


def units(count, seed):
    """What instruments would show on fresh units: degrees Celsius, absolute pascals."""
    rng = np.random.default_rng(seed)
    for metering in METERING:
        for fault in faults(rng, metering):
            for _ in range(count):
                unit, air, shown = run(rng, metering, fault)
                f = unit.fluid
                te, tc = shown["evaporating"], shown["condensing"]
                print(
                    metering, fault, cycle.REFRIGERANTS[list(cycle.FLUIDS.values()).index(f)],
                    *(f"{x:.3f}" for x in [
                        air.metres, air.outdoor, air.indoor, air.wet_bulb, air.indoor - shown["split"],
                        f.at(f.p_dew, te), te + shown["superheat"],
                        f.at(f.p_bubble, tc), tc - shown["subcooling"], unit.subcooling,
                    ]),
                )


def signs(count=60):
    """Which way each quantity goes, by the median of many units at the rating point: fixed orifice."""
    rng = np.random.default_rng(3)
    names = ["evaporating", "superheat", "condensing", "subcooling", "discharge", "rise", "split"]
    moved = {}
    for _ in range(count):
        unit = cycle.Unit(rng, "orifice")
        well = unit.run(cycle.RATED, {})
        for fault, put_in in faults(rng, "orifice").items():
            put_in = dict(put_in)
            if "gas" in put_in:
                put_in["gas"] *= unit.fluid.at(unit.fluid.p_bubble, 45.0)
            ill = unit.run(cycle.RATED, put_in)
            if well and ill:
                moved.setdefault(fault, []).append([ill[n] - well[n] for n in names])
    for fault, by in moved.items():
        print(fault, *(f"{m:.3f}" for m in np.median(np.array(by), axis=0)))


if __name__ == "__main__":
    cycle.prepare()
    if sys.argv[1:2] == ["units"]:
        units(int(sys.argv[2]), int(sys.argv[3]))
    elif sys.argv[1:2] == ["signs"]:
        signs()
    else:
        table()
