"""A steady-state model of a split air conditioner in cooling: a unit drawn within what is usual, a fault put
into it, and what gauges and thermometers show then.

Four balances are solved: mass flow of compressor and metering device, heat of the outdoor coil, heat of the
indoor coil, and the charge that both coils and the liquid line hold. The unknowns are the two saturation
temperatures, how much of the outdoor coil stands full of liquid, and how much of the indoor coil holds vapour
only; below nothing of either, the quality at its end takes their place. Coils are bypass models (air leaves
as a mix of what passed by and what took the surface's temperature), the compressor has a volumetric and an
isentropic efficiency, the metering device is an orifice, and an expansion valve one that opens with superheat.
This is textbook practice (ASHRAE Handbook, Fundamentals; from memory). Properties are CoolProp's.
"""

import CoolProp.CoolProp as CP
import numpy as np
from scipy.optimize import root

ZERO = 273.15
SEA = 101325.0
REFRIGERANTS = ["R22", "R134a", "R32", "R290", "R410A", "R407C"]
# A ton of refrigeration, and 400 cubic feet a minute for each.
TON, CFM_400 = 3516.85, 0.188779


class Fluid:
    """Properties along saturation, from -40 to 66 degrees Celsius."""

    def __init__(self, name):
        self.t = np.linspace(-40.0, 66.0, 107)
        of = lambda out, q: np.array([CP.PropsSI(out, "T", t + ZERO, "Q", q, name) for t in self.t])
        self.p_bubble, self.p_dew = of("P", 0), of("P", 1)
        self.hf, self.hg = of("H", 0), of("H", 1)
        self.rf, self.rg = of("D", 0), of("D", 1)
        self.cf, self.cg = of("C", 0), of("C", 1)
        # Isentropic exponent of the vapour, nearly constant in the range of suction.
        self.k = float(np.interp(5.0, self.t, of("C", 1) / of("O", 1)))

    def at(self, row, t):
        """Interpolated, and straight on outside, so that a solver finds back."""
        lo, hi = self.t[0], self.t[-1]
        if t > hi:
            return row[-1] + (row[-1] - row[-2]) * (t - hi)
        if t < lo:
            return max(row[0] + (row[1] - row[0]) * (t - lo), 0.05 * row[0])
        return float(np.interp(t, self.t, row))

    def saturated(self, row, p):
        return float(np.interp(np.log(p), np.log(row), self.t))


def saturation(t):
    """Vapour pressure of water, pascals (Hyland and Wexler, over water; over ice below the triple point)."""
    k = t + ZERO
    if t >= 0.01:
        log = -5.8002206e3 / k + 1.3914993 - 4.8640239e-2 * k + 4.1764768e-5 * k**2 - 1.4452093e-8 * k**3 + 6.5459673 * np.log(k)
    else:
        log = -5.6745359e3 / k + 6.3925247 - 9.677843e-3 * k + 6.2215701e-7 * k**2 + 2.0747825e-9 * k**3 - 9.484024e-13 * k**4 + 4.1635019 * np.log(k)
    return np.exp(log)


def ratio(p_water, p=SEA):
    return 0.621945 * p_water / (p - p_water)


def enthalpy(t, w):
    """Of moist air, kilojoules a kilogram of dry air."""
    return 1.006 * t + w * (2501 + 1.86 * t)


def wet_bulb(t, w, p=SEA):
    low, high = -30.0, t
    for _ in range(50):
        m = 0.5 * (low + high)
        s = ratio(saturation(m), p)
        at = ((2501 - 2.326 * m) * s - 1.006 * (t - m)) / (2501 + 1.86 * t - 4.186 * m)
        low, high = (m, high) if at < w else (low, m)
    return 0.5 * (low + high)


class Weather:
    def __init__(self, outdoor, indoor, humidity, pressure=SEA):
        self.outdoor, self.indoor, self.pressure = outdoor, indoor, pressure
        self.w = ratio(humidity * saturation(indoor), pressure)
        self.h = enthalpy(indoor, self.w)
        self.wet_bulb = wet_bulb(indoor, self.w, pressure)
        # Kilograms of dry air in a cubic metre.
        self.density = pressure / (287.042 * (indoor + ZERO) * (1 + 1.607858 * self.w))


def surface_heat(t, air):
    """What a kilogram of dry air gives to a surface at t, kilojoules, and how much of that is sensible."""
    s = ratio(saturation(t), air.pressure)
    sensible = 1.006 * (air.indoor - t) + 1.86 * air.w * (air.indoor - t)
    if s >= air.w:
        return sensible
    return air.h - enthalpy(t, s)


# A rating point of AHRI 210/240: 35 degrees outdoors, 26.7 and 19.4 wet bulb indoors.
RATED = Weather(35.0, 26.7, 0.508)


class Unit:
    """A unit whose parts are chosen so that it runs as drawn at the rating point."""

    def __init__(self, rng, metering):
        u = lambda low, high: float(rng.uniform(low, high))
        self.metering = metering
        self.fluid = FLUIDS[REFRIGERANTS[rng.integers(len(REFRIGERANTS))]]
        f = self.fluid
        evaporating = u(6.0, 9.5)
        over_ambient = u(8.0, 15.0)
        self.subcooling = u(4.5, 7.0)
        superheat = u(4.0, 7.0) if metering == "valve" else u(5.5, 8.5)
        self.gain = u(0.3, 2.0)  # of the suction line, kelvins
        condensing = RATED.outdoor + over_ambient
        # Indoor coil: bypass at the rated air, and refrigerant's side from what is left.
        self.bypass = u(0.10, 0.22)
        self.air = CFM_400 * u(0.85, 1.12) * RATED.density
        heat = TON
        need = heat / 1000 / self.air / (1 - self.bypass)
        low, high = -10.0, RATED.indoor
        for _ in range(60):
            mid = 0.5 * (low + high)
            low, high = (mid, high) if surface_heat(mid, RATED) > need else (low, mid)
        self.surface = 0.5 * (low + high)
        evaporating = min(evaporating, self.surface - 1.0)
        vapour = u(0.10, 0.20)  # share of the coil that superheats
        self.ua_e = heat / (1 - vapour) / (self.surface - evaporating)
        h1 = f.at(f.hg, evaporating) + f.at(f.cg, evaporating) * superheat
        h3 = f.at(f.hf, condensing) - f.at(f.cf, condensing) * self.subcooling
        m = heat / (h1 - h3)
        self.ua_v = -m * f.at(f.cg, evaporating) / vapour * np.log(1 - superheat / (RATED.indoor - evaporating))
        # Compressor.
        self.efficiency = u(0.60, 0.72)
        self.clearance = u(0.03, 0.06)
        self.volume = 1.0
        self.volume = m / self.pumped(evaporating, condensing, superheat, 1.0)
        # Outdoor coil.
        liquid = u(0.08, 0.16)
        h2 = self.discharge(evaporating, condensing, superheat, 1.0)
        two_phase = m * (h2 - f.at(f.hf, condensing))
        rise = u(0.55, 0.75) * over_ambient  # of its air
        self.air_c = (two_phase + m * f.at(f.cf, condensing) * self.subcooling) / rise
        share = two_phase / (1 - liquid) / self.air_c / over_ambient
        self.ntu_c = -np.log(1 - min(share, 0.985))
        self.ua_l = -m * f.at(f.cf, condensing) / liquid * np.log(1 - self.subcooling / over_ambient)
        # Metering.
        self.choke = u(0.65, 0.85)
        drop = self.drop(f.at(f.p_bubble, condensing), condensing - self.subcooling, evaporating)
        self.orifice = m / np.sqrt(2 * f.at(f.rf, condensing - self.subcooling) * drop)
        self.valve_set = superheat
        self.valve_gain = u(0.15, 0.35)
        self.valve_most = u(1.3, 2.0)
        # Charge, in parts of the outdoor coil's volume.
        self.v_e = u(0.5, 0.9)
        self.v_line = u(0.10, 0.35)
        self.void_c, self.void_e = u(0.15, 0.25), u(0.08, 0.15)
        self.charge = 1.0
        self.charge = self.held(evaporating, condensing, liquid, vapour, m)
        self.start = np.array([evaporating, condensing, liquid, vapour])

    def pumped(self, te, tc, superheat, quality):
        f = self.fluid
        rise = max(f.at(f.p_bubble, tc) / max(f.at(f.p_dew, te), 1e3), 1.05)
        volumetric = max(1 - self.clearance * (rise ** (1 / f.k) - 1), 0.1)
        dense = f.at(f.rg, te) * (te + ZERO) / (te + ZERO + max(superheat + self.gain, 0)) / quality
        return self.volume * volumetric * dense

    def drop(self, upstream, liquid, te):
        """What drives the flow: an orifice chokes where the liquid flashes in it, at a share of its
        saturation pressure (after Aaron and Domanski, 1990; the share drawn, from memory)."""
        f = self.fluid
        behind = f.at(f.p_dew, te)
        if self.metering == "orifice":
            behind = max(behind, self.choke * f.at(f.p_bubble, liquid))
        return max(upstream - behind, 1e3)

    def discharge(self, te, tc, superheat, quality):
        """Enthalpy behind the compressor: an ideal gas's isentropic work over the efficiency."""
        f = self.fluid
        rise = max(f.at(f.p_bubble, tc) / max(f.at(f.p_dew, te), 1e3), 1.05)
        t1 = te + superheat + self.gain
        h1 = f.at(f.hg, te) + f.at(f.cg, te) * (superheat + self.gain)
        h1 -= (1 - quality) * (f.at(f.hg, te) - f.at(f.hf, te))
        pv = f.at(f.p_dew, te) / (f.at(f.rg, te) * (te + ZERO) / (t1 + ZERO))
        k = f.k
        work = k / (k - 1) * pv * (rise ** ((k - 1) / k) - 1)
        return h1 + 0.85 * work / self.efficiency

    def held(self, te, tc, liquid, vapour, m):
        f = self.fluid
        x3, z = (max(-liquid, 0), max(liquid, 0))
        y = 1 - max(vapour, 0)
        rf, rg = f.at(f.rf, tc), f.at(f.rg, tc)
        inlet = rf if x3 == 0 else 1 / (x3 / rg + (1 - x3) / rf)
        two = self.void_c * (1 - min(2 * x3, 1)) * rf + rg
        wet = self.void_e + max(-vapour, 0)
        low = y * (wet * f.at(f.rf, te) + f.at(f.rg, te)) + (1 - y) * f.at(f.rg, te)
        return z * rf + (1 - z) * two + self.v_line * inlet + self.v_e * low

    def run(self, air, fault):
        """Solved for its state; none where no balance was found."""
        f = self.fluid
        flow_e = self.air * fault.get("indoor", 1.0)
        bypass = np.exp(np.log(self.bypass) * fault.get("indoor", 1.0) ** -0.4)
        flow_c = self.air_c * fault.get("outdoor", 1.0)
        ntu = self.ntu_c * fault.get("outdoor", 1.0) ** -0.4
        charge = self.charge * fault.get("charge", 1.0)
        leak = fault.get("leak", 0.0)
        strange = fault.get("gas", 0.0)
        # Fans move volumes: thin air is less of it.
        flow_e *= air.density / RATED.density
        flow_c *= air.pressure / SEA

        def state(v):
            te, tc, liquid, vapour = v
            te = min(te, air.indoor - 0.5)
            z, x3 = max(liquid, 0), min(max(-liquid, 0), 0.9)
            x, q1 = max(vapour, 0), 1 - min(max(-vapour, 0), 0.9)
            # Indoor coil's surface.
            low, high = te, air.indoor
            for _ in range(45):
                mid = 0.5 * (low + high)
                gives = 1000 * flow_e * (1 - bypass) * surface_heat(mid, air)
                low, high = (mid, high) if gives > self.ua_e * (mid - te) else (low, mid)
            surface = 0.5 * (low + high)
            wet = (1 - x) * self.ua_e * (surface - te)
            # What the compressor would pump.
            guess = 1e-3
            for _ in range(3):
                superheat = (air.indoor - te) * (1 - np.exp(-x * self.ua_v / (guess * f.at(f.cg, te))))
                guess = max(self.pumped(te, tc + strange_k(tc), superheat, q1) * (1 - leak), 1e-5)
            m = guess
            cl = f.at(f.cf, tc)
            over = tc - air.outdoor
            subcooling = over * (1 - np.exp(-z * self.ua_l * fault.get("outdoor", 1.0) ** 0.5 / (m * cl)))
            h3 = f.at(f.hf, tc) - cl * subcooling + x3 * (f.at(f.hg, tc) - f.at(f.hf, tc))
            h2 = self.discharge(te, tc + strange_k(tc), superheat, q1) + leak * 0.35 * (f.at(f.hg, te) - f.at(f.hf, te))
            rejected = (1 - z) * flow_c * (1 - np.exp(-ntu)) * over * fault.get("film", 1.0)
            h_out = f.at(f.hf, tc) + x3 * (f.at(f.hg, tc) - f.at(f.hf, tc))
            h1 = f.at(f.hg, te) + f.at(f.cg, te) * superheat - (1 - q1) * (f.at(f.hg, te) - f.at(f.hf, te))
            # Metering.
            rl = f.at(f.rf, max(tc - subcooling, te))
            rho = rl if x3 == 0 else 1 / (x3 / f.at(f.rg, tc) + (1 - x3) / rl)
            drop = self.drop(f.at(f.p_bubble, tc) + strange, tc - subcooling, te)
            opening = 1.0
            if self.metering == "valve":
                opening = 1 + self.valve_gain * (superheat - self.valve_set)
                opening = min(max(opening, 0.15), self.valve_most)
                if "stuck" in fault:
                    opening = fault["stuck"]
            elif "stuck" in fault:
                opening = fault["stuck"]
            fed = opening * self.orifice
            if "restriction" in fault:
                # In a row with the device.
                blocked = fault["restriction"] * self.orifice
                fed = fed * blocked / np.hypot(fed, blocked)
            fed *= np.sqrt(2 * rho * drop)
            balance = [
                fed / m - 1,
                (m * (h2 - h_out) - rejected) / TON,
                (m * (h1 - h3) - wet - m * f.at(f.cg, te) * superheat) / TON,
                self.held(te, tc, liquid, vapour, m) / charge - 1,
            ]
            # Air that leaves: what passed the wet part, and what passed the rest.
            dry = m * f.at(f.cg, te) * superheat / (1000 * flow_e * 1.02)
            split = (1 - x) * (1 - bypass) * (air.indoor - surface) + dry
            shown = {
                "evaporating": te, "condensing": tc, "superheat": superheat + self.gain * (superheat > 0.05),
                "subcooling": subcooling, "split": split, "m": m, "rise": rejected / flow_c,
                "discharge": tc + (h2 - f.at(f.hg, tc)) / (1.1 * f.at(f.cg, tc)),
            }
            return balance, shown

        def strange_k(tc):
            """Kelvins by which a gas that does not condense lifts what the gauge says."""
            if strange == 0:
                return 0.0
            p = f.at(f.p_bubble, tc) + strange
            return f.saturated(f.p_bubble, p) - tc if p < f.p_bubble[-1] else 66.0 - tc

        for nudge in ([0, 0, 0, 0], [-3, 3, -0.05, 0.1], [3, -2, 0.05, -0.1], [-10, -3, -0.15, 0.4], [-6, 8, 0.25, 0.2]):
            start = self.start + nudge
            start[1] += air.outdoor - RATED.outdoor
            found = root(lambda v: state(v)[0], start, method="hybr", tol=1e-8)
            balance, shown = state(found.x)
            if max(abs(b) for b in balance) < 1e-4 and shown["m"] > 1e-4 and found.x[3] < 0.98:
                shown["condensing"] += strange_k(found.x[1])
                shown["subcooling"] += strange_k(found.x[1])
                return shown
        return None


FLUIDS = {}


def prepare():
    if not FLUIDS:
        FLUIDS.update((name, Fluid(name)) for name in REFRIGERANTS)
