//! An open gate is never read back from a file, nor written to one.
use ohmtrail_core::gates::{Discharged, Gates, Loose, Measure, ProvedDead, ReadyToEnergise};
use serde::{Deserialize, Serialize};

fn read<'de, D: serde::Deserializer<'de> + Copy>(from: D) {
    let _ = ProvedDead::deserialize(from);
    let _ = Discharged::<Measure>::deserialize(from);
    let _ = Loose::deserialize(from);
    let _ = ReadyToEnergise::deserialize(from);
    let _ = Gates::deserialize(from);
}

fn write<S: serde::Serializer + Copy>(dead: ProvedDead<'_>, ready: ReadyToEnergise, to: S) {
    let _ = dead.serialize(to);
    let _ = ready.serialize(to);
}

fn main() {}
