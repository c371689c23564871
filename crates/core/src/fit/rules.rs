//! What a part that is fitted in place of another is held to, with the sources.

use crate::rules::{Rule, computed, memory, practice, second_hand, verified};

/// Capacitance, each section by itself.
pub const CAPACITANCE: Rule = Rule::between(
    "fit.capacitance",
    "capacitance (of pieces in parallel: their sum), as a share of the failed section's",
    "1",
    (1.0, 1.0),
    second_hand(
        "published guides to replacing run capacitors: the same value, each section of a dual one by itself",
    ),
);
/// Tolerance on each side.
pub const TOLERANCE: Rule = Rule::at_most(
    "fit.tolerance",
    "how far the band reaches on each side (of pieces in parallel: the worst case), as a share of the failed one's",
    "1",
    1.0,
    computed("a band inside the marked one holds no value that the marked one excludes"),
);
/// Tolerance where the failed part has none.
pub const TOLERANCE_UNMARKED: Rule = Rule::at_most(
    "fit.tolerance-unmarked",
    "tolerance where none is known of the failed capacitor; over 10 % it is refused",
    "1",
    0.06,
    practice("run capacitor without marked tolerance: 6 %, replaced outside 10 %"),
);
/// Rated volts of a capacitor.
pub const CAPACITOR_VOLTS: Rule = Rule::at_least(
    "fit.capacitor-volts",
    "rated volts (of pieces in parallel: of each), as a share of the failed capacitor's",
    "1",
    1.0,
    second_hand("capacitor leaflet: equal or higher, 440 V replaces 370 V, never the reverse"),
);
/// Rated frequency of a capacitor.
pub const CAPACITOR_FREQUENCY: Rule = Rule::at_least(
    "fit.capacitor-frequency",
    "highest rated frequency, as a share of the one it works at",
    "1",
    1.0,
    computed("I = 2 pi f C U: at the same volts the current rises with the frequency"),
);
/// Run or start capacitor.
pub const DUTY: Rule = Rule::at_least(
    "fit.duty",
    "duty of a capacitor, 1 run and 0 start: less the failed one's",
    "1",
    0.0,
    verified(
        "IEC 60252-1 is for motor run capacitors, IEC 60252-2 for start capacitors (their scopes)",
    ),
);
/// Duty of a motor.
pub const MOTOR_DUTY: Rule = Rule::at_least(
    "fit.motor-duty",
    "duty of a motor, 1 continuous and 0 short-time: less the failed one's",
    "1",
    0.0,
    memory("IEC 60034-1 duty types: S1 continuous, S2 short-time"),
);
/// Highest temperature of a capacitor.
pub const HOTTEST: Rule = Rule::at_least(
    "fit.hottest",
    "highest temperature it may work at, less the failed part's",
    "K",
    0.0,
    memory("IEC 60252-1: the climatic category is marked, lowest and highest temperature"),
);
/// Lowest temperature of a capacitor.
pub const COLDEST: Rule = Rule::at_most(
    "fit.coldest",
    "lowest temperature it may work at, less the failed part's",
    "K",
    0.0,
    memory("IEC 60252-1: the climatic category is marked, lowest and highest temperature"),
);
/// Protection of a capacitor.
pub const PROTECTION: Rule = Rule::at_least(
    "fit.protection",
    "steps of protection on failure (S0 or P0, S1 or P1, S2 or P2, S3), less the failed part's",
    "1",
    0.0,
    memory("IEC 60252-1 protection classes P0 to P2, in newer editions S0 to S3"),
);
/// Hours of a capacitor's class.
pub const LIFE: Rule = Rule::at_least(
    "fit.life",
    "hours that the class of operation stands for, as a share of the failed part's",
    "1",
    1.0,
    memory("IEC 60252-1 classes of operation: A 30 000 h, B 10 000 h, C 3 000 h, D 1 000 h"),
);
/// One can for two capacitors.
pub const COMMON: Rule = Rule::at_least(
    "fit.common",
    "one can for two capacitors: sides that both have on the same terminal",
    "1",
    1.0,
    computed("the sections of a dual capacitor share one terminal"),
);
/// Poles of a contactor.
pub const POLES: Rule = Rule::at_least(
    "fit.poles",
    "switched poles, less the failed contactor's",
    "1",
    0.0,
    computed("a leg without a pole stays live while the contactor is open"),
);
/// Volts that a contactor's poles switch.
pub const POLE_VOLTS: Rule = Rule::at_least(
    "fit.pole-volts",
    "rated volts of the poles, as a share of the load's",
    "1",
    1.0,
    memory("IEC 60947-4-1: rated operational voltage"),
);
/// Motor amps of a contactor or a start relay.
pub const FULL_LOAD: Rule = Rule::at_least(
    "fit.full-load-amps",
    "full-load (rated-load) amps, as a share of the load's",
    "1",
    1.0,
    second_hand(
        "IEC 60947-4-1 utilisation categories: motors AC-3, hermetic compressors AC-8a and AC-8b",
    ),
);
/// Locked-rotor amps of a contactor.
pub const LOCKED_ROTOR: Rule = Rule::at_least(
    "fit.locked-rotor-amps",
    "locked-rotor amps, as a share of the load's",
    "1",
    1.0,
    memory(
        "IEC 60947-4-1 AC-8a and AC-8b, and definite-purpose contactors: rated for a hermetic compressor's locked-rotor amps",
    ),
);
/// Heater amps of a contactor.
pub const RESISTIVE: Rule = Rule::at_least(
    "fit.resistive-amps",
    "resistive amps, as a share of the load's",
    "1",
    1.0,
    second_hand("IEC 60947-4-1 utilisation categories: resistive loads AC-1"),
);
/// Coil volts.
pub const COIL_VOLTS: Rule = Rule::between(
    "fit.coil-volts",
    "control volts, as a share of the coil's rating",
    "1",
    (1.0, 1.0),
    memory(
        "IEC 60947-4-1: rated control supply voltage; the contactor closes at 85 to 110 % of it",
    ),
);
/// Coil frequency.
pub const COIL_FREQUENCY: Rule = Rule::at_least(
    "fit.coil-frequency",
    "frequencies of the circuit that the coil is rated for, as a share of all",
    "1",
    1.0,
    computed("I = U / (2 pi f L): a coil for a higher frequency draws more, one for a lower less"),
);
/// Frequency of a motor.
pub const MOTOR_FREQUENCY: Rule = Rule::at_least(
    "fit.motor-frequency",
    "frequencies that it works at for which the motor is rated, as a share of all",
    "1",
    1.0,
    computed("synchronous speed is 120 f / poles: at another frequency it turns at another speed"),
);
/// Ambient of a contactor or a motor.
pub const AMBIENT: Rule = Rule::at_least(
    "fit.ambient",
    "rated ambient temperature, less the failed part's",
    "K",
    0.0,
    memory("IEC 60947-1: ratings hold up to the stated ambient, 40 Cel where none is stated"),
);
/// Volt-amperes of a transformer.
pub const VOLT_AMPS: Rule = Rule::at_least(
    "fit.volt-amps",
    "volt-amperes, as a share of the failed transformer's",
    "1",
    1.0,
    computed("the same load on fewer volt-amperes is a greater share of the rating"),
);
/// Primary volts of a transformer.
pub const PRIMARY: Rule = Rule::between(
    "fit.primary-volts",
    "the primary, or its nearest tap, as a share of the volts it works at",
    "1",
    (1.0, 1.0),
    computed("U2 / U1 is the turns ratio: another primary gives another secondary"),
);
/// Secondary volts of a transformer.
pub const SECONDARY: Rule = Rule::between(
    "fit.secondary-volts",
    "the secondary, as a share of the failed one's",
    "1",
    (1.0, 1.0),
    computed("the coils and boards on it are rated for its volts"),
);
/// Frequency of a transformer.
pub const TRANSFORMER_FREQUENCY: Rule = Rule::at_most(
    "fit.transformer-frequency",
    "lowest rated frequency, as a share of the one it works at",
    "1",
    1.0,
    computed("flux is as U / f: at a lower frequency the core saturates"),
);
/// Class 2.
pub const CLASS_TWO: Rule = Rule::at_least(
    "fit.class-2",
    "Class 2, 1 yes and 0 no: less the failed transformer's",
    "1",
    0.0,
    memory("NFPA 70 article 725: Class 2 wiring needs a Class 2 source"),
);
/// Thermal class.
pub const THERMAL_CLASS: Rule = Rule::at_least(
    "fit.thermal-class",
    "temperature of the insulation's thermal class, less the failed part's",
    "K",
    0.0,
    memory("IEC 60085: thermal classes 105 (A), 120 (E), 130 (B), 155 (F), 180 (H)"),
);
/// Power of a motor.
pub const POWER: Rule = Rule::at_least(
    "fit.power",
    "shaft power, as a share of the failed motor's",
    "1",
    1.0,
    computed("the load asks for the power that the failed motor gave"),
);
/// One size up.
pub const POWER_UP: Rule = Rule::at_most(
    "fit.power-up",
    "shaft power, as a share of the failed motor's: one size up",
    "1",
    1.34,
    practice(
        "the same power, or one size up: 1/4 to 1/3 hp and 3/4 to 1 hp, 4/3 rounded up; wider steps are not taken for one",
    ),
);
/// Volts of a motor.
pub const MOTOR_VOLTS: Rule = Rule::between(
    "fit.motor-volts",
    "volts it works at, as a share of the nearest rating",
    "1",
    (0.9, 1.1),
    second_hand("NEMA MG-1 12.44: a motor runs at rated load within 10 % of its rated volts"),
);
/// Phases.
pub const PHASES: Rule = Rule::between(
    "fit.phases",
    "phases, as a share of the failed motor's",
    "1",
    (1.0, 1.0),
    computed("a motor turns by the phases it is wound for"),
);
/// Magnetic poles of a motor.
pub const SPEED: Rule = Rule::between(
    "fit.speed",
    "magnetic poles, as a share of the failed motor's",
    "1",
    (1.0, 1.0),
    computed("synchronous speed is 120 f / poles, and a fan's power rises with its cube"),
);
/// Speeds to choose from.
pub const SPEEDS: Rule = Rule::at_least(
    "fit.speeds",
    "speeds to choose from, less the failed motor's",
    "1",
    0.0,
    practice("every speed that the controls call for is there"),
);
/// Amps of a motor.
pub const MOTOR_AMPS: Rule = Rule::at_most(
    "fit.motor-amps",
    "full-load amps, as a share of the failed motor's, or of what its circuit and overload allow",
    "1",
    1.0,
    practice("wires, overload and breaker were chosen for the amps on the failed motor's plate"),
);
/// Direction.
pub const ROTATION: Rule = Rule::at_least(
    "fit.rotation",
    "turns the failed motor's way, seen from the same end: 1 yes",
    "1",
    1.0,
    computed("a fan moves its air one way"),
);
/// Shaft diameter.
pub const SHAFT: Rule = Rule::between(
    "fit.shaft",
    "shaft diameter, as a share of the failed motor's",
    "1",
    (1.0, 1.0),
    computed("the hub's bore"),
);
/// Shaft length.
pub const SHAFT_LENGTH: Rule = Rule::at_least(
    "fit.shaft-length",
    "shaft length, as a share of the failed motor's",
    "1",
    1.0,
    practice("a longer shaft can be cut, a shorter one does not reach"),
);
/// Frame.
pub const FRAME: Rule = Rule::at_least(
    "fit.frame",
    "the failed motor's frame: 1 yes",
    "1",
    1.0,
    memory("NEMA MG-1 part 4, IEC 60072-1: a frame fixes the mounting and the shaft"),
);
/// Enclosure.
pub const ENCLOSURE: Rule = Rule::at_least(
    "fit.enclosure",
    "enclosure, 1 closed and 0 open: less the failed motor's",
    "1",
    0.0,
    practice("a closed motor stands where water or dust comes; an open one does not replace it"),
);
/// Pick-up of a potential relay.
pub const PICK_UP: Rule = Rule::at_least(
    "fit.pick-up",
    "share of its pick-up range that lies within the failed relay's",
    "1",
    1.0,
    practice(
        "a potential relay is chosen by its pick-up range: it takes the start capacitor out at that speed",
    ),
);
/// Drop-out of a potential relay.
pub const DROP_OUT: Rule = Rule::at_most(
    "fit.drop-out",
    "drop-out volts, as a share of the failed relay's",
    "1",
    1.0,
    practice(
        "a relay that drops out at higher volts brings the start capacitor back into a running motor",
    ),
);
/// Continuous volts of a potential relay's coil.
pub const CONTINUOUS: Rule = Rule::at_least(
    "fit.continuous-volts",
    "continuous volts of the coil, as a share of the failed relay's",
    "1",
    1.0,
    computed("the coil stands at the start winding's volts as long as the motor runs"),
);
/// The maker's number.
pub const NUMBER: Rule = Rule::at_least(
    "fit.number",
    "the failed part's number, or named by the maker in its place: 1 yes",
    "1",
    1.0,
    practice(
        "what no rating tells is replaced by its maker's number, or by what its maker names for it",
    ),
);

/// The rows of this subject.
pub const RULES: &[Rule] = &[
    CAPACITANCE,
    TOLERANCE,
    TOLERANCE_UNMARKED,
    CAPACITOR_VOLTS,
    CAPACITOR_FREQUENCY,
    DUTY,
    MOTOR_DUTY,
    HOTTEST,
    COLDEST,
    PROTECTION,
    LIFE,
    COMMON,
    POLES,
    POLE_VOLTS,
    FULL_LOAD,
    LOCKED_ROTOR,
    RESISTIVE,
    COIL_VOLTS,
    COIL_FREQUENCY,
    MOTOR_FREQUENCY,
    AMBIENT,
    VOLT_AMPS,
    PRIMARY,
    SECONDARY,
    TRANSFORMER_FREQUENCY,
    CLASS_TWO,
    THERMAL_CLASS,
    POWER,
    POWER_UP,
    MOTOR_VOLTS,
    PHASES,
    SPEED,
    SPEEDS,
    MOTOR_AMPS,
    ROTATION,
    SHAFT,
    SHAFT_LENGTH,
    FRAME,
    ENCLOSURE,
    PICK_UP,
    DROP_OUT,
    CONTINUOUS,
    NUMBER,
];
