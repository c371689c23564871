//! Self-describing values against the package bluetooth-sig, which carries the Bluetooth SIG's own
//! tables, and against Python's own number formats; worked examples; hostile values. `cargo xtask
//! test` makes the Python environment and names it in `OHMTRAIL_PYTHON`; with
//! `OHMTRAIL_WITHOUT_PYTHON=1` the comparison is left out, and says so.

use std::io::Write;
use std::process::{Command, Stdio};

use ohmtrail_core::reading::{Decimal, Function, MeterId, Shown};
use ohmtrail_core::units::Micros;
use ohmtrail_meters::ble::{BleError, Found, How, Pipes, Plan, Uuid, Want};
use ohmtrail_meters::driver::{Outcome, Setup, Told, driver};
use ohmtrail_meters::gatt::electrical::{DEFINED, defined};
use ohmtrail_meters::gatt::format::Format;
use ohmtrail_meters::gatt::units::{Quantity, unit};
use ohmtrail_meters::gatt::{self, Presentation, Reader, lines};
use ohmtrail_meters::showing::Reason;
use ohmtrail_meters::sim::noise::Noise;
use proptest::prelude::*;
use serde_json::{Value, json};

fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|b| format!("{b:02x}")).collect()
}

/// What the reference says; none if it is to be left out.
fn ask(questions: &Value) -> Option<Value> {
    let Some(python) = std::env::var_os("OHMTRAIL_PYTHON") else {
        assert!(
            std::env::var_os("OHMTRAIL_WITHOUT_PYTHON").is_some_and(|v| v == "1"),
            "no Python with bluetooth-sig: run `cargo xtask test`, which makes one, or set \
             OHMTRAIL_WITHOUT_PYTHON=1 to leave this comparison out"
        );
        println!("left out: the comparison with bluetooth-sig (OHMTRAIL_WITHOUT_PYTHON=1)");
        return None;
    };
    let mut child = Command::new(python)
        .arg(concat!(
            env!("CARGO_MANIFEST_DIR"),
            "/tests/reference/sig.py"
        ))
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .expect("the Python that OHMTRAIL_PYTHON names starts");
    let mut stdin = child.stdin.take().expect("a piped standard input");
    let text = questions.to_string();
    let writer = std::thread::spawn(move || stdin.write_all(text.as_bytes()));
    let output = child.wait_with_output().expect("the reference ends");
    writer
        .join()
        .expect("the writer ends")
        .expect("it reads everything");
    assert!(output.status.success(), "the reference failed");
    Some(serde_json::from_slice(&output.stdout).expect("the reference writes JSON"))
}

/// What the profile says where a number of volts or amperes does not.
fn told(quantity: Quantity) -> Option<Function> {
    match quantity {
        Quantity::Volts => Some(Function::VoltsAc),
        Quantity::Amps => Some(Function::AmpsAc),
        Quantity::Only(_) => None,
    }
}

/// Every unit's number has the name that the SIG gives it, and no unit that is carried is missed.
fn units_agree(units: &Value) {
    let means = |name: &str| -> Option<(Quantity, i8)> {
        Some(match name {
            "electric current (ampere)" => (Quantity::Amps, 0),
            "electric potential difference (volt)" => (Quantity::Volts, 0),
            "frequency (hertz)" => (Quantity::Only(Function::Hertz), 0),
            "pressure (pascal)" => (Quantity::Only(Function::Pascals), 0),
            "pressure (bar)" => (Quantity::Only(Function::Pascals), 5),
            "capacitance (farad)" => (Quantity::Only(Function::Farads), 0),
            "electric resistance (ohm)" => (Quantity::Only(Function::Ohms), 0),
            "Celsius temperature (degree Celsius)" => (Quantity::Only(Function::Celsius), 0),
            "percentage" => (Quantity::Only(Function::Percent), 0),
            _ => return None,
        })
    };
    let mut carried = 0;
    for number in 0x2700..0x2800_u16 {
        let name = units[number.to_string()].as_str();
        let expected = name.and_then(means);
        carried += usize::from(expected.is_some());
        assert_eq!(unit(number).ok(), expected, "{number:04x} {name:?}");
    }
    assert_eq!(carried, 9);
}

/// Every format has the number, the length and the use of the exponent that the SIG gives it.
fn formats_agree(types: &Value) {
    for number in 0..=u8::MAX {
        let info = &types[number.to_string()];
        let name = info["name"].as_str().unwrap_or_default();
        let is_number = ["uint", "sint", "float", "medfloat"]
            .iter()
            .any(|n| name.starts_with(n))
            && name != "uint16[2]";
        let Some(format) = Format::by_number(number) else {
            assert!(!is_number, "{number:02x} {name}");
            continue;
        };
        let ours = match format {
            Format::Unsigned(bits) => format!("uint{bits}"),
            Format::Signed(bits) => format!("sint{bits}"),
            Format::Float32 => "float32".into(),
            Format::Float64 => "float64".into(),
            Format::MedFloat16 => "medfloat16".into(),
            Format::MedFloat32 => "medfloat32".into(),
        };
        assert_eq!(ours, name);
        assert_eq!(Some(format.bytes() as u64), info["size"].as_u64(), "{name}");
        assert_eq!(
            Some(format.takes_exponent()),
            info["exponent"].as_bool(),
            "{name}"
        );
    }
}

/// Values of a format: the ends, the specials, and some between.
fn values(number: u8, noise: &mut Noise) -> Vec<Vec<u8>> {
    let format = Format::by_number(number).unwrap();
    let length = format.bytes();
    let mut all: Vec<u128> = vec![0, 1, 2, 0x7F, 0x80, 0xFF, u128::MAX, u128::MAX - 1];
    let bits = match format {
        Format::Unsigned(bits) | Format::Signed(bits) => u32::from(bits),
        _ => 8 * length as u32,
    };
    all.push(1 << (bits - 1));
    all.push((1 << (bits - 1)) - 1);
    all.extend((0..60).map(|_| u128::from(noise.bits()) << 64 | u128::from(noise.bits())));
    match format {
        Format::Float32 => all.extend(
            [
                238.4_f32,
                -0.7,
                1e-12,
                3e9,
                f32::NAN,
                f32::INFINITY,
                f32::NEG_INFINITY,
            ]
            .map(|f| u128::from(f.to_bits())),
        ),
        Format::Float64 => all.extend(
            [
                238.4_f64,
                -0.7,
                1e-12,
                3e9,
                f64::NAN,
                f64::INFINITY,
                f64::NEG_INFINITY,
            ]
            .map(|f| u128::from(f.to_bits())),
        ),
        // Only where the package reads as the standard does: what is no number.
        Format::MedFloat16 => all = vec![0x07FF, 0x0800, 0x07FE, 0x0802],
        Format::MedFloat32 => all = vec![0x7F_FFFF, 0x80_0000, 0x7F_FFFE, 0x80_0002],
        _ => {}
    }
    let signed = matches!(format, Format::Signed(_));
    all.into_iter()
        .map(|raw| {
            let mut raw = if bits == 128 {
                raw
            } else {
                raw & ((1 << bits) - 1)
            };
            if signed && bits == 12 && raw >> 11 == 1 {
                raw |= 0xF000;
            }
            raw.to_le_bytes()[..length].to_vec()
        })
        .collect()
}

fn number_agrees(name: u8, value: &[u8], expected: &str) {
    let got = Format::by_number(name).unwrap().read(value, 0);
    let what = format!("format {name:02x}, {}: {got:?} for {expected}", hex(value));
    match expected {
        "nan" => assert_eq!(got, Ok(Shown::Blank), "{what}"),
        "inf" | "-inf" => assert_eq!(got, Ok(Shown::Overload), "{what}"),
        number => {
            let number: f64 = number.parse().unwrap();
            match got {
                Ok(Shown::Value(shown)) => {
                    // Nine digits are kept.
                    let error = (shown.value() - number).abs();
                    assert!(error <= 0.5 * shown.resolution() * (1.0 + 1e-6), "{what}");
                    if name == 0x14 {
                        assert_eq!(shown.value() as f32, number as f32, "{what}");
                    } else {
                        assert!(error <= 1e-8 * number.abs(), "{what}");
                    }
                }
                // Beyond the powers of ten of any display, or of 127 bits.
                Err(_) => assert!(number.abs() < 1e-118 || number.abs() > 1e38, "{what}"),
                other => panic!("{what}: {other:?}"),
            }
        }
    }
}

#[test]
fn values_agree_with_the_published_tables() {
    let noise = &mut Noise::new(0x6A77);
    let mut characteristics = Vec::new();
    for row in &DEFINED {
        let long = match row.uuid {
            0x2A6D => 4,
            0x2BE0 => 3,
            0x2B0D | 0x2B04 => 1,
            _ => 2,
        };
        let top = (1_u64 << (8 * long)) - 1;
        let mut raws: Vec<u64> = vec![0, 1, 2, top, top - 1, top - 2, top / 2, top / 2 + 1];
        raws.extend([200, 201, 10_000, 10_001, 65_408, 65_409, 65_407, 64, 32, 96]);
        // Above and below absolute zero.
        raws.extend([-27_315_i16, -27_316, -500].map(|t| u64::from(t as u16)));
        raws.extend((0..60).map(|_| noise.bits()));
        for raw in raws {
            let bytes = (raw & top).to_le_bytes()[..long].to_vec();
            characteristics.push((row.uuid, bytes));
        }
    }
    let presentations = [
        "06fe2827010100",
        "0e00ad27010000",
        "14052a27010200",
        "10f72927000000",
    ];
    let mut numbers = Vec::new();
    for format in 0x02..=0x17 {
        for value in values(format, noise) {
            numbers.push((format, value));
        }
    }
    let pairs = |list: &[(u16, Vec<u8>)]| -> Vec<Value> {
        list.iter()
            .map(|(u, v)| json!([format!("{u:04X}"), hex(v)]))
            .collect()
    };
    let questions = json!({
        "characteristics": pairs(&characteristics),
        "presentations": presentations,
        "numbers": numbers.iter().map(|(f, v)| json!([f, hex(v)])).collect::<Vec<_>>(),
    });
    let Some(answers) = ask(&questions) else {
        return;
    };
    units_agree(&answers["units"]);
    formats_agree(&answers["types"]);

    let said = answers["numbers"].as_array().unwrap();
    assert_eq!(said.len(), numbers.len());
    for ((format, value), expected) in numbers.iter().zip(said) {
        number_agrees(*format, value, expected.as_str().unwrap());
    }

    let said = answers["presentations"].as_array().unwrap();
    for (text, expected) in presentations.iter().zip(said) {
        let bytes: Vec<u8> = (0..7)
            .map(|i| u8::from_str_radix(&text[2 * i..2 * i + 2], 16).unwrap())
            .collect();
        let by = Presentation::read(&bytes).unwrap();
        let ours = json!([
            by.format,
            by.exponent,
            by.unit,
            by.namespace,
            by.description
        ]);
        let theirs: Vec<&Value> = ["format", "exponent", "unit", "namespace", "description"]
            .iter()
            .map(|key| &expected[key])
            .collect();
        assert_eq!(ours, json!(theirs), "{text}");
    }

    let said = answers["characteristics"].as_array().unwrap();
    assert_eq!(said.len(), characteristics.len());
    let (mut agreed, mut none, mut refused) = (0, 0, 0);
    for ((uuid, value), expected) in characteristics.iter().zip(said) {
        let row = defined(*uuid).unwrap();
        let reader = Reader::defined(row, told(row.quantity)).unwrap();
        let got = reader.read(value).map(|s| s.shown);
        let what = format!("{} {}: {got:?} for {expected}", row.name, hex(value));
        match (expected["value"].as_f64(), &expected["special"]) {
            // A supply that is direct has no frequency; the greatest voltage means *or more*.
            (Some(0.0), _) if *uuid == 0x2BE8 => assert_eq!(got, Ok(Shown::Blank), "{what}"),
            (Some(1022.0), _) if *uuid == 0x2B18 => assert_eq!(got, Ok(Shown::Overload), "{what}"),
            // The package does not hold every value to its range; the SIG's text prohibits these.
            (Some(_), _) if got == Err(Reason::Range) => {
                let by_text = match uuid {
                    0x2A6E => i16::from_le_bytes([value[0], value[1]]) < -27_315,
                    0x2A6F => u16::from_le_bytes([value[0], value[1]]) > 10_000,
                    0x2B04 => value[0] > 200,
                    _ => false,
                };
                assert!(by_text, "{what}");
                refused += 1;
            }
            (Some(number), _) => {
                let shown = got.ok().and_then(Shown::decimal).expect(&what);
                let error = (shown.value() - number).abs();
                assert!(error <= 0.5 * shown.resolution() * (1.0 + 1e-9), "{what}");
                // The last digit is not finer than the characteristic's own step.
                let step = match uuid {
                    0x2B18 | 0x2BE0 => 1.0 / 64.0,
                    0x2B0D | 0x2B04 => 0.5,
                    0x2A6D => 0.1,
                    0x2BE8 => 1.0,
                    _ => 0.01,
                };
                assert!(shown.resolution() >= step * (1.0 - 1e-9), "{what}");
                agreed += 1;
            }
            (None, Value::Bool(true)) => {
                assert_eq!(got, Ok(Shown::Blank), "{what}");
                none += 1;
            }
            _ => {
                assert_eq!(got, Err(Reason::Range), "{what}");
                refused += 1;
            }
        }
    }
    println!("{agreed} values agree, {none} are none, {refused} are refused");
    assert!(agreed > 300 && none >= 8 && refused > 20);
}

/// Worked examples of IEEE 11073-20601's floats, from memory: 36.4 degrees is FF00016C in a health
/// thermometer's profile, 11.4 is F072 and 114 is 0072 in the transcoding paper.
#[test]
fn medical_floats_have_their_exponent_in_twos_complement() {
    let read32 = |raw: u32| Format::MedFloat32.read(&raw.to_le_bytes(), 0);
    let read16 = |raw: u16| Format::MedFloat16.read(&raw.to_le_bytes(), 0);
    let value = |m, e| Ok(Shown::Value(Decimal::new(m, e)));
    assert_eq!(read32(0xFF00_016C), value(364, -1));
    assert_eq!(read16(0xF072), value(114, -1));
    assert_eq!(read16(0x0072), value(114, 0));
    assert_eq!(read16(0x1FFF), value(-1, 1));
    assert_eq!(read16(0x8803), value(-2045, -8));
    for (raw16, raw32, shown) in [
        (0x07FF, 0x007F_FFFF, Ok(Shown::Blank)),
        (0x0800, 0x0080_0000, Ok(Shown::Blank)),
        (0x07FE, 0x007F_FFFE, Ok(Shown::Overload)),
        (0x0802, 0x0080_0002, Ok(Shown::Overload)),
        (0x0801, 0x0080_0001, Err(Reason::Digits)),
        // Some take these for numbers, some for none.
        (0x17FF, 0x017F_FFFF, Err(Reason::Digits)),
        (0xF802, 0xFF80_0002, Err(Reason::Digits)),
    ] {
        assert_eq!(read16(raw16), shown, "{raw16:04x}");
        assert_eq!(read32(raw32), shown, "{raw32:08x}");
    }
}

#[test]
fn digits_are_no_finer_than_what_was_sent() {
    let value = |m, e| Ok(Shown::Value(Decimal::new(m, e)));
    // 15258/64 V = 238.40625 V.
    let volts = defined(0x2B18).unwrap();
    assert_eq!(
        volts.read(&15_258_u16.to_le_bytes(), Function::VoltsAc),
        value(2384, -1)
    );
    // Half a degree: no tenths.
    assert_eq!(
        defined(0x2B0D).unwrap().read(&[0x2A], Function::Celsius),
        value(21, 0)
    );
    // The descriptor's exponent is the resolution, zeros at the end too.
    assert_eq!(
        Format::Unsigned(16).read(&2_380_u16.to_le_bytes(), -1),
        value(2380, -1)
    );
    assert_eq!(
        Format::Signed(32).read(&(-70_i32).to_le_bytes(), -2),
        value(-70, -2)
    );
    // A binary float: the fewest digits that name it.
    assert_eq!(
        Format::Float32.read(&238.4_f32.to_le_bytes(), 0),
        value(2384, -1)
    );
}

/// 0 V of a voltage that cannot be negative is not 0 V of direct voltage: it may be -24 V.
#[test]
fn no_volts_that_may_be_less_than_none_are_no_value() {
    let volts = defined(0x2B18).unwrap();
    assert_eq!(volts.read(&[0, 0], Function::VoltsDc), Ok(Shown::Blank));
    let zero = Shown::Value(Decimal::new(0, -1));
    assert_eq!(volts.read(&[0, 0], Function::VoltsAc), Ok(zero));
}

fn found(uuid: Uuid, format: Option<&str>) -> Found {
    let bytes = format.map(|text| {
        (0..text.len() / 2)
            .map(|i| u8::from_str_radix(&text[2 * i..2 * i + 2], 16).unwrap())
            .collect()
    });
    Found {
        service: Uuid::short(0x181A),
        uuid,
        notifies: true,
        reads: true,
        writes: false,
        format: bytes,
        called: None,
    }
}

const PRIVATE: Uuid = Uuid(0x7a2b_0001_9c7e_4f1d_8b3a_5d6e_7f80_9a0b);

#[test]
fn a_meter_that_describes_itself_is_read() {
    let mut ohms = found(PRIVATE, Some("10fe2a27010000"));
    ohms.notifies = false;
    let all = [
        found(Uuid::short(0x2A19), None),
        ohms,
        found(Uuid::short(0x2A6E), None),
        found(Uuid::short(0x2B18), None),
    ];
    let pipes = Pipes {
        function: Some(Function::VoltsAc),
        ..Pipes::default()
    };
    let plan = Plan::new(&pipes, &gatt::ENTRY, &all).unwrap();
    let wants: Vec<(usize, bool)> = plan
        .wants
        .iter()
        .map(|w| (w.index, w.how == How::Notify))
        .collect();
    assert_eq!(wants, [(1, false), (2, true), (3, true)]);
    assert_eq!(plan.write, None);

    // A transport's lines, through the driver.
    let setup = Setup {
        volts: pipes.function,
        ..Setup::of(MeterId(3))
    };
    let mut driver = (gatt::ENTRY.start)(&setup).unwrap();
    let mut got = |index: usize, value: &[u8]| {
        let found: &Found = &all[index];
        let line = lines::value(found.uuid, found.format.as_deref(), value);
        match driver.push(line.as_bytes(), Micros(9)).outcome {
            Outcome::Got(r) => {
                assert_eq!((r.meter, r.at), (MeterId(3), Micros(9)));
                Ok((r.function, r.shown))
            }
            Outcome::Rejected(reason) => Err(reason),
            Outcome::Hungry => panic!("a whole line leaves nothing"),
        }
    };
    let value = |m, e| Shown::Value(Decimal::new(m, e));
    assert_eq!(
        got(1, &220_i32.to_le_bytes()),
        Ok((Function::Ohms, value(220, -2)))
    );
    assert_eq!(
        got(2, &2150_i16.to_le_bytes()),
        Ok((Function::Celsius, value(2150, -2)))
    );
    assert_eq!(
        got(3, &15_258_u16.to_le_bytes()),
        Ok((Function::VoltsAc, value(2384, -1)))
    );
    // Of a battery level nothing is known; a cut value is refused.
    assert_eq!(got(0, &[55]), Err(Reason::NoUnit));
    assert_eq!(got(2, &[1]), Err(Reason::Layout));

    // What the meter calls it is told; of control characters nothing is passed on.
    let name = lines::called(PRIVATE, all[1].format.as_deref(), "Win\nding\x07");
    assert_eq!(
        driver.push(name.as_bytes(), Micros(9)).outcome,
        Outcome::Hungry
    );
    let told = Told::Reads {
        function: Function::Ohms,
        uuid: PRIVATE,
        called: "Win ding".into(),
    };
    assert_eq!(driver.told(), Some(told));

    // Without a word about AC or DC, volts are refused, and it says what to do.
    let volts = [found(Uuid::short(0x2B18), None)];
    let error = Plan::new(&Pipes::default(), &gatt::ENTRY, &volts).unwrap_err();
    assert_eq!(error, BleError::Refused(Uuid::short(0x2B18), Reason::AcDc));
    assert!(error.to_string().contains("function=volts-ac"));
    let error = Plan::new(&pipes, &gatt::ENTRY, &all[..1]).unwrap_err();
    assert_eq!(error, BleError::Undescribed);
    // Two of one function would be taken for one another.
    let probes = [
        found(Uuid::short(0x2A6E), None),
        found(PRIVATE, Some("0eff2f27010000")),
    ];
    let error = Plan::new(&pipes, &gatt::ENTRY, &probes).unwrap_err();
    assert_eq!(
        error,
        BleError::Several(Function::Celsius, Uuid::short(0x2A6E), PRIVATE)
    );
    let named = Pipes {
        characteristic: Some(PRIVATE),
        ..pipes
    };
    let plan = Plan::new(&named, &gatt::ENTRY, &probes).unwrap();
    assert_eq!(plan.wants.len(), 1);
}

#[test]
fn a_characteristic_is_a_pipe_for_any_driver() {
    let service = Uuid::short(0xFFF0);
    let of = |number, notifies, writes| Found {
        service,
        uuid: Uuid::short(number),
        notifies,
        reads: false,
        writes,
        format: None,
        called: None,
    };
    let all = [
        of(0xFFF1, true, false),
        of(0xFFF2, false, true),
        of(0xFFF3, false, false),
    ];
    let pipes = Pipes {
        service: Some(service),
        characteristic: Some(Uuid::short(0xFFF1)),
        write: Some(Uuid::short(0xFFF2)),
        function: None,
    };
    let plan = |pipes: &Pipes, name| Plan::new(pipes, driver(name).unwrap(), &all);
    let notify = Want {
        index: 0,
        how: How::Notify,
    };
    let expected = Plan {
        wants: vec![notify],
        write: Some(1),
    };
    assert_eq!(plan(&pipes, "ascii14"), Ok(expected.clone()));
    assert_eq!(plan(&pipes, "scpi"), Ok(expected));

    let error = |pipes: Pipes, name| plan(&pipes, name).err();
    assert_eq!(
        error(Pipes::default(), "lcd14"),
        Some(BleError::NoPipe("lcd14"))
    );
    let silent = Pipes {
        write: None,
        ..pipes
    };
    assert_eq!(error(silent, "scpi"), Some(BleError::NoWrite));
    assert_eq!(error(silent, "ascii14"), None);
    let uuid = Uuid::short(0xFFF3);
    let deaf = Pipes {
        characteristic: Some(uuid),
        ..pipes
    };
    assert_eq!(error(deaf, "ascii14"), Some(BleError::Deaf(uuid)));
    let locked = Pipes {
        write: Some(uuid),
        ..pipes
    };
    assert_eq!(error(locked, "scpi"), Some(BleError::ReadOnly(uuid)));
    let elsewhere = Pipes {
        service: Some(Uuid::short(0xFFE0)),
        ..pipes
    };
    assert_eq!(
        error(elsewhere, "ascii14"),
        Some(BleError::Missing(Uuid::short(0xFFF1)))
    );
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::with_cases(4000) })]

    /// Any descriptor and any value: refused or read, never a panic, and a number's digits are never
    /// finer than the descriptor's exponent.
    #[test]
    fn any_descriptor_and_any_value_are_survived(
        descriptor in prop::collection::vec(any::<u8>(), 0..10),
        seven in prop::array::uniform7(any::<u8>()),
        unit in prop::sample::select(vec![0x2704_u16, 0x2728, 0x272A, 0x272F, 0x2780, 0x27AD, 0x27AC]),
        format in 0..0x20_u8,
        value in prop::collection::vec(any::<u8>(), 0..20),
        row in prop::sample::select(&DEFINED[..]),
    ) {
        for bytes in [descriptor.as_slice(), &seven] {
            prop_assert_eq!(Presentation::read(bytes).is_ok(), bytes.len() == 7);
        }
        let by = Presentation { unit, format, ..Presentation::read(&seven).unwrap() };
        for told in [None, Some(Function::VoltsAc), Some(Function::AmpsDc), Some(Function::Ohms)] {
            if let Ok(reader) = Reader::described(&by, told)
                && let Ok(showing) = reader.read(&value)
                && let Shown::Value(shown) = showing.shown
            {
                let whole = Format::by_number(format).is_some_and(Format::takes_exponent);
                let bar = if unit == 0x2780 { 5 } else { 0 };
                let finest = i32::from(by.exponent) + bar;
                prop_assert!(!whole || i32::from(shown.exponent) >= finest);
                prop_assert!(shown.mantissa.unsigned_abs() < 1_000_000_000);
            }
            if let Ok(reader) = Reader::defined(&DEFINED[0], told) {
                let _ = reader.read(&value);
            }
        }
        if let Ok(reader) = Reader::defined(DEFINED.iter().find(|d| d.uuid == row.uuid).unwrap(), None) {
            let _ = reader.read(&value);
        }
    }
}
