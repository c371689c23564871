//! Moist air against a general-purpose library of the same relations, against one that takes real gases into
//! account, and against worked values.

use std::process::Command;

use ohmtrail_core::accuracy::Quantity;
use ohmtrail_core::psychrometrics::{Air, saturation_pressure, wet_bulb};
use ohmtrail_core::rules::RuleError;
use ohmtrail_core::units::{Celsius, Pascals, Ratio};

const SEA: Pascals = Pascals(101_325.0);

/// Temperature, humidity and pressure; then, by PsychroLib: vapour pressure, humidity ratio, wet bulb, dew
/// point, enthalpy and volume; then, by CoolProp's real gases: humidity ratio, wet bulb and dew point.
const SCRIPT: &str = r"
import numpy as np, psychrolib as ps
from CoolProp.HumidAirProp import HAPropsSI
ps.SetUnitSystem(ps.SI)
for t in np.linspace(-39.5, 59.5, 34):
    for rh in (0.02, 0.1, 0.25, 0.4, 0.5, 0.6, 0.75, 0.9, 1.0):
        for p in (60000.0, 79500.0, 101325.0, 108000.0):
            t, rh = float(t), float(rh)
            w = ps.GetHumRatioFromRelHum(t, rh, p)
            row = [t, rh, p, ps.GetSatVapPres(t), w, ps.GetTWetBulbFromRelHum(t, rh, p),
                   ps.GetTDewPointFromRelHum(t, rh), ps.GetMoistAirEnthalpy(t, w), ps.GetMoistAirVolume(t, w, p)]
            at = ('T', t + 273.15, 'R', rh, 'P', p)
            try: real = [HAPropsSI('W', *at), HAPropsSI('B', *at) - 273.15, HAPropsSI('D', *at) - 273.15]
            except ValueError: real = [float('nan')] * 3
            print(*row, *real)
";

fn rows() -> Option<Vec<Vec<f64>>> {
    let Some(python) = std::env::var_os("OHMTRAIL_PYTHON") else {
        let without = std::env::var_os("OHMTRAIL_WITHOUT_PYTHON").is_some();
        assert!(
            without,
            "OHMTRAIL_PYTHON is not set: run `cargo xtask test`"
        );
        eprintln!("not compared, as OHMTRAIL_WITHOUT_PYTHON is set");
        return None;
    };
    let ran = Command::new(python).args(["-c", SCRIPT]).output();
    let ran = ran.expect("Python starts");
    let said = String::from_utf8_lossy(&ran.stderr);
    assert!(ran.status.success(), "{said}");
    let text = String::from_utf8_lossy(&ran.stdout).into_owned();
    let row = |line: &str| {
        line.split(' ')
            .map(|x| x.parse().expect("a number"))
            .collect()
    };
    Some(text.lines().map(row).collect())
}

#[test]
fn moist_air_is_as_the_libraries_have_it() {
    let Some(rows) = rows() else { return };
    let mut worst = [0.0_f64; 3];
    let mut compared = [0; 2];
    for row in &rows {
        let &[
            t,
            share,
            p,
            psat,
            w,
            wet,
            dew,
            h,
            v,
            real_w,
            real_wet,
            real_dew,
        ] = row.as_slice()
        else {
            panic!("{row:?}")
        };
        let close = |ours: f64, theirs: f64, off: f64, what: &str| {
            assert!((ours - theirs).abs() <= off, "{what} at {row:?}: {ours}");
        };
        let ours = saturation_pressure(Celsius(t)).expect("within").get();
        close(ours, psat, 1e-9 * psat, "vapour pressure");
        let air = Air::by_humidity(Celsius(t), Ratio(share), Pascals(p)).expect("within");
        // That library keeps at least a ten-millionth.
        close(air.humidity_ratio().get(), w, 1e-9 * w + 1e-7, "ratio");
        close(air.enthalpy(), h, 1e-6 * h.abs() + 0.3, "enthalpy");
        close(air.volume(), v, 1e-6 * v, "volume");
        // It stops within a thousandth of a kelvin. About freezing a wick may hold water or ice, and there is
        // a wet bulb for each.
        let wick = wet.abs() > 0.7;
        if wick {
            close(air.wet_bulb().get(), wet, 0.003, "wet bulb");
        }
        let ours_dew = air.dew_point().expect("some water").get();
        close(ours_dew, dew, 0.003, "dew point");
        compared[0] += 1;
        // Back, from each.
        for again in [
            Air::by_wet_bulb(Celsius(t), air.wet_bulb(), Pascals(p)),
            Air::by_dew_point(Celsius(t), Celsius(ours_dew), Pascals(p)),
        ] {
            let again = again.expect("within").relative_humidity().get();
            let off = if wick { 1e-6 } else { 0.02 };
            close(again, share, off, "humidity again");
        }
        // Real gases, where the trade works.
        if t >= -10.0 && real_w.is_finite() && wick {
            close(
                air.humidity_ratio().get(),
                real_w,
                0.01 * real_w,
                "real ratio",
            );
            close(air.wet_bulb().get(), real_wet, 0.1, "real wet bulb");
            close(ours_dew, real_dew, 0.1, "real dew point");
            worst[0] = worst[0].max((air.humidity_ratio().get() / real_w - 1.0).abs());
            worst[1] = worst[1].max((air.wet_bulb().get() - real_wet).abs());
            worst[2] = worst[2].max((ours_dew - real_dew).abs());
            compared[1] += 1;
        }
    }
    println!("{compared:?} points; against real gases at most {worst:?} off");
    assert!(compared[0] > 1000 && compared[1] > 600, "{compared:?}");
}

/// The rating point of AHRI 210/240: 26.7 and 19.4 degrees wet bulb are about half of saturation; a wet bulb
/// of 67 and a dry bulb of 80 degrees Fahrenheit hold 31.5 Btu a pound (from memory, of the printed chart),
/// which is counted from 0 degrees Fahrenheit there.
#[test]
fn the_rating_point_is_where_the_chart_has_it() {
    let air = Air::by_wet_bulb(Celsius(80.0 / 1.8 - 32.0 / 1.8), Celsius(35.0 / 1.8), SEA);
    let air = air.expect("within");
    assert!((air.relative_humidity().get() - 0.51).abs() < 0.01);
    let dry_zero = 1006.0 * (-32.0 / 1.8);
    let btu = (air.enthalpy() - dry_zero) / 2326.0;
    assert!((btu - 31.5).abs() < 0.1, "{btu}");
    // A mountain's air of the same bulbs holds more water.
    let thin = Air::by_wet_bulb(air.dry_bulb(), air.wet_bulb(), Pascals(79_500.0));
    assert!(thin.expect("within").humidity_ratio() > air.humidity_ratio());
}

#[test]
fn the_uncertainty_of_a_wet_bulb_is_that_of_what_it_is_made_of() {
    let read = |value, u| Quantity::new(Celsius(value), u);
    let share = |value, u| Quantity::new(Ratio(value), u);
    let at = |t, rh| {
        wet_bulb(read(t, 0.0), share(rh, 0.0), SEA)
            .expect("within")
            .at
            .value
            .get()
    };
    let worked = wet_bulb(read(25.0, 0.5), share(0.5, 0.02), SEA).expect("within");
    let found = worked.at;
    let by_hand = f64::hypot(
        (at(25.5, 0.5) - at(24.5, 0.5)) / 2.0,
        (at(25.0, 0.52) - at(25.0, 0.48)) / 2.0,
    );
    assert!((found.u - by_hand).abs() < 1e-9, "{found:?} {by_hand}");
    assert!(found.u > 0.4 && found.u < 0.6, "{found:?}");
    // What an error of the thermometer does to it, however well that is known.
    let slope = at(25.5, 0.5) - at(24.5, 0.5);
    assert!((worked.by_dry_bulb - slope).abs() < 1e-9, "{worked:?}");
    let exact = wet_bulb(read(25.0, 0.0), share(0.5, 0.0), SEA).expect("within");
    assert_eq!(exact.at.u, 0.0);
    assert!((exact.by_dry_bulb - slope).abs() < 1e-3, "{exact:?}");
    // At the end of the range it stays in it.
    assert!(wet_bulb(read(60.0, 0.5), share(1.0, 0.02), SEA).is_ok());
}

#[test]
fn what_cannot_be_is_refused() {
    let by = |t, rh, p| Air::by_humidity(Celsius(t), Ratio(rh), Pascals(p)).map(|_| ());
    let out = Err(RuleError::OutOfDomain);
    assert_eq!(by(25.0, 1.01, 101_325.0), out);
    assert_eq!(by(25.0, -0.01, 101_325.0), out);
    assert_eq!(by(61.0, 0.5, 101_325.0), out);
    assert_eq!(by(-41.0, 0.5, 101_325.0), out);
    assert_eq!(by(25.0, 0.5, 49_000.0), out);
    assert_eq!(by(25.0, 0.5, 101.325), out);
    assert_eq!(by(f64::NAN, 0.5, 101_325.0), Err(RuleError::NotFinite));
    let bulbs = |dry, wet| Air::by_wet_bulb(Celsius(dry), Celsius(wet), SEA).map(|_| ());
    assert_eq!(bulbs(25.0, 25.1), out);
    // Bone-dry air of 40 degrees does not cool a wick to 5.
    assert_eq!(bulbs(40.0, 5.0), out);
    let dew = |dry, dew| Air::by_dew_point(Celsius(dry), Celsius(dew), SEA).map(|_| ());
    assert_eq!(dew(20.0, 20.5), out);
    let dry = Air::by_humidity(Celsius(20.0), Ratio(0.0), SEA).expect("within");
    assert_eq!(dry.dew_point(), None);
}
