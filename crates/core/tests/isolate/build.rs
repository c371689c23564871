//! Builds small tables, and invents random ones, for the tests and the bench.

use ohmtrail_core::class::Class;
use ohmtrail_core::isolate::ask::{ANY_LIFTED, LOOK_LIVE, NO_POINT};
use ohmtrail_core::isolate::table::{NO_FAULT, VERSION, to_byte};
use ohmtrail_core::isolate::{AskRecord, Cooled, Kind, PowerNeed, Table};
use ohmtrail_core::reading::Function;

/// A row of codes.
pub type Row = [u8; 6];

/// One ask with its rows and its cells.
#[derive(Debug, Clone)]
pub struct Ask {
    pub record: AskRecord,
    pub rows: Vec<Row>,
    pub cells: Vec<u8>,
}

/// Everything a table holds.
#[derive(Debug, Clone)]
pub struct Sheet {
    pub priors: Vec<f32>,
    pub sets: Vec<[u16; 2]>,
    pub groups: Vec<u16>,
    pub samples: u8,
    pub faults: u16,
    pub lifts: Vec<u16>,
    pub off: u16,
    pub on: u16,
    pub cool: u16,
    pub wrong: Vec<u16>,
    pub callback: u16,
    pub asks: Vec<Ask>,
}

/// A row from probabilities.
pub fn row(p: &[f32]) -> Row {
    let mut codes = [255; 6];
    for (code, p) in codes.iter_mut().zip(p) {
        *code = to_byte(*p);
    }
    codes
}

/// A measurement whose outcomes are all six classes.
pub fn measure(power: PowerNeed, tenths: u16) -> AskRecord {
    AskRecord {
        kind: Kind::Measure(Function::VoltsAc),
        power,
        lifted: ANY_LIFTED,
        cooled: Cooled::Any,
        point_a: 0,
        point_b: 1,
        tenths,
        live: 0b11_1111,
        bottom: Class::Absent,
        top: Class::Open,
        edges: [1.0, 2.0, 3.0, 4.0],
        first_row: 0,
        rows: 0,
    }
}

/// A look.
pub fn look(tenths: u16) -> AskRecord {
    AskRecord {
        kind: Kind::Look,
        point_b: NO_POINT,
        live: LOOK_LIVE,
        ..measure(PowerNeed::Any, tenths)
    }
}

impl Sheet {
    /// A sheet whose hypotheses are: no fault, each fault by itself, none of these.
    pub fn singles(priors: &[f32], samples: u8) -> Sheet {
        let last = priors.len() - 1;
        Sheet {
            priors: priors.to_vec(),
            sets: (0..priors.len())
                .map(|h| match h {
                    0 => [NO_FAULT; 2],
                    h if h == last => [NO_FAULT; 2],
                    h => [h as u16 - 1, NO_FAULT],
                })
                .collect(),
            groups: (0..priors.len() as u16).collect(),
            samples,
            faults: last as u16 - 1,
            lifts: vec![0],
            off: 50,
            on: 30,
            cool: 600,
            wrong: vec![100; last - 1],
            callback: 200,
            asks: Vec::new(),
        }
    }

    /// Adds an ask.
    pub fn ask(&mut self, record: AskRecord, rows: Vec<Row>, cells: Vec<u8>) -> &mut Self {
        self.asks.push(Ask {
            record,
            rows,
            cells,
        });
        self
    }

    /// The encoded table.
    pub fn bytes(&self) -> Vec<u8> {
        let mut first_row = 0;
        let mut asks = Vec::new();
        for ask in &self.asks {
            let record = AskRecord {
                first_row,
                rows: ask.rows.len() as u16,
                ..ask.record
            };
            asks.extend(record.encode());
            first_row += ask.rows.len() as u32;
        }
        let table = Table {
            version: VERSION,
            sheet_hash: [7; 32],
            hypotheses: self.priors.len() as u16,
            samples: self.samples,
            faults: self.faults,
            power_off_tenths: self.off,
            power_on_tenths: self.on,
            cool_tenths: self.cool,
            callback_minutes: self.callback,
            priors: &self
                .priors
                .iter()
                .flat_map(|p| p.to_le_bytes())
                .collect::<Vec<_>>(),
            sets: &self
                .sets
                .iter()
                .flatten()
                .flat_map(|f| f.to_le_bytes())
                .collect::<Vec<_>>(),
            groups: &self
                .groups
                .iter()
                .flat_map(|g| g.to_le_bytes())
                .collect::<Vec<_>>(),
            wrong: &self
                .wrong
                .iter()
                .flat_map(|w| w.to_le_bytes())
                .collect::<Vec<_>>(),
            asks: &asks,
            lifts: &self
                .lifts
                .iter()
                .flat_map(|l| l.to_le_bytes())
                .collect::<Vec<_>>(),
            rows: &self
                .asks
                .iter()
                .flat_map(|ask| ask.rows.iter().flatten().copied())
                .collect::<Vec<_>>(),
            cells: &self
                .asks
                .iter()
                .flat_map(|ask| ask.cells.iter().copied())
                .collect::<Vec<_>>(),
        };
        let mut room = vec![0; table.encoded_room()];
        let length = table.encode(&mut room).expect("the sheet is sound");
        room.truncate(length);
        room
    }
}

/// SplitMix64: a small generator of reproducible numbers.
pub struct Dice(pub u64);

impl Dice {
    /// The next 64 bits.
    pub fn bits(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    /// A number from zero up to one.
    pub fn unit(&mut self) -> f32 {
        (self.bits() >> 40) as f32 / (1_u64 << 24) as f32
    }

    /// A number below `n`.
    pub fn below(&mut self, n: usize) -> usize {
        (self.bits() % n as u64) as usize
    }

    /// Probabilities of `n` outcomes, now and then sharp.
    pub fn probabilities(&mut self, n: usize) -> Vec<f32> {
        let sharp = [1.0, 3.0, 8.0][self.below(3)];
        let raw: Vec<f32> = (0..n).map(|_| self.unit().powf(sharp) + 1e-4).collect();
        let sum: f32 = raw.iter().sum();
        raw.iter().map(|p| p / sum).collect()
    }
}

/// A random sheet: `hypotheses` at least 3; some hypotheses in pairs, some groups shared, looks
/// among the measurements, some classes not live.
pub fn invented(dice: &mut Dice, hypotheses: usize, samples: u8, asks: usize) -> Sheet {
    let mut priors = dice.probabilities(hypotheses);
    priors[0] += 0.05;
    let mut sheet = Sheet::singles(&priors, samples);
    for h in 2..hypotheses - 1 {
        if dice.below(4) == 0 {
            sheet.sets[h] = [0, h as u16 - 1];
        }
    }
    let mut group = 0;
    for h in 1..hypotheses {
        if h == hypotheses - 1 || dice.below(4) != 0 {
            group += 1;
        }
        sheet.groups[h] = group;
    }
    sheet.lifts = vec![0, 40, 70];
    for _ in 0..asks {
        let is_look = dice.below(4) == 0;
        let power = [PowerNeed::Off, PowerNeed::On, PowerNeed::Any][dice.below(3)];
        let tenths = 5 + dice.below(40) as u16;
        let mut record = if is_look {
            look(tenths)
        } else {
            measure(power, tenths)
        };
        let outcomes = if is_look { 2 } else { 6 };
        if !is_look && dice.below(2) == 0 {
            record.live = 0b01_1111;
        }
        record.lifted = [0, 1, 2, ANY_LIFTED][dice.below(4)];
        record.cooled = [Cooled::Any, Cooled::Any, Cooled::AsFound, Cooled::Cooled][dice.below(4)];
        let mut rows: Vec<Row> = (0..1 + dice.below(9))
            .map(|_| row(&dice.probabilities(outcomes)))
            .collect();
        rows.push(row(&vec![1.0; outcomes]));
        let flat = rows.len() as u8 - 1;
        let cells = (0..hypotheses)
            .flat_map(|h| {
                let own = dice.below(rows.len()) as u8;
                (0..samples)
                    .map(|_| {
                        if h == hypotheses - 1 {
                            flat
                        } else if dice.below(3) == 0 {
                            dice.below(rows.len()) as u8
                        } else {
                            own
                        }
                    })
                    .collect::<Vec<_>>()
            })
            .collect();
        sheet.ask(record, rows, cells);
    }
    sheet
}
