//! How deep a firmware's stack can get: the deepest path through the calls of its linked image.
//!
//! Every function's frame is read off its own instructions, library functions included, and every
//! call off its target. That bound holds only where nothing is called through a pointer and nothing
//! calls itself, so either is an error here. An interrupt can come at the deepest place: one
//! exception's frame with the floating-point registers is added (ARMv7-M Architecture Reference
//! Manual, B1.5.7: 26 words, and one more where the stack is aligned to 8 bytes; from memory). No
//! board here has an interrupt that is interrupted.

use std::collections::HashMap;
use std::path::Path;
use std::process::Command;

use crate::Failure;

/// The exception's frame, in bytes.
const EXCEPTION: u64 = 27 * 4;

/// The deepest path.
pub struct Deepest {
    /// Bytes, an exception's frame included.
    pub bytes: u64,
    /// The functions on it, outermost first, each with its own bytes.
    pub path: Vec<(String, u64)>,
}

/// The deepest path from `entry`.
pub fn deepest(objdump: &Path, image: &Path, entry: &str) -> Result<Deepest, Failure> {
    let out = Command::new(objdump)
        .args(["--disassemble", "--demangle=rust", "--no-show-raw-insn"])
        .arg(image)
        .output()
        .map_err(|e| format!("{} does not start: {e}", objdump.display()))?;
    if !out.status.success() {
        return Err(format!("{}: {}", objdump.display(), out.status));
    }
    let calls = Calls::read(&String::from_utf8_lossy(&out.stdout))?;
    calls.deepest(entry)
}

/// One function.
#[derive(Debug, Default)]
struct Frame {
    name: String,
    bytes: u64,
    calls: Vec<u64>,
}

/// The functions by their addresses.
#[derive(Debug, Default)]
struct Calls {
    frames: HashMap<u64, Frame>,
}

impl Calls {
    fn read(listing: &str) -> Result<Calls, Failure> {
        let mut calls = Calls::default();
        let mut at = None;
        for line in listing.lines() {
            if let Some((address, name)) = heading(line) {
                // A second name of one place stands for the same function.
                let frame = calls.frames.entry(address).or_default();
                frame.name = name.to_owned();
                at = Some(address);
            } else if let (Some(address), Some(instruction)) = (at, instruction(line)) {
                let frame = calls.frames.get_mut(&address);
                if let Some(frame) = frame {
                    frame
                        .take(instruction, address)
                        .map_err(|why| format!("{}: '{instruction}' {why}", frame.name))?;
                }
            }
        }
        Ok(calls)
    }

    fn deepest(&self, entry: &str) -> Result<Deepest, Failure> {
        let start = self.frames.iter().find(|(_, f)| f.name == entry);
        let (start, _) = start.ok_or_else(|| format!("the image has no function {entry}"))?;
        let mut known = HashMap::new();
        let bytes = self.below(*start, &mut Vec::new(), &mut known)?;
        let mut path = Vec::new();
        let mut next = Some(*start);
        while let Some(frame) = next.and_then(|at| self.frames.get(&at)) {
            path.push((frame.name.clone(), frame.bytes));
            let depth = |at: &&u64| known.get(*at).copied().unwrap_or(0);
            next = frame.calls.iter().max_by_key(depth).copied();
        }
        Ok(Deepest {
            bytes: bytes + EXCEPTION,
            path,
        })
    }

    /// How deep it gets from this function on.
    fn below(
        &self,
        at: u64,
        above: &mut Vec<u64>,
        known: &mut HashMap<u64, u64>,
    ) -> Result<u64, Failure> {
        if let Some(depth) = known.get(&at) {
            return Ok(*depth);
        }
        let frame = self.frames.get(&at);
        let frame = frame.ok_or_else(|| format!("a call to {at:#x}, where no function begins"))?;
        if above.contains(&at) {
            return Err(format!("{} calls itself: no bound", frame.name));
        }
        above.push(at);
        let mut most = 0;
        for call in &frame.calls {
            most = most.max(self.below(*call, above, known)?);
        }
        above.pop();
        known.insert(at, frame.bytes + most);
        Ok(frame.bytes + most)
    }
}

impl Frame {
    fn take(&mut self, instruction: &str, own: u64) -> Result<(), String> {
        let (word, rest) = instruction
            .split_once(char::is_whitespace)
            .unwrap_or((instruction, ""));
        let rest = rest.trim();
        let plain = word.trim_end_matches(".w").trim_end_matches(".n");
        match plain {
            "push" | "stmdb" | "vpush" => {
                let list = match plain {
                    "stmdb" => match rest.strip_prefix("sp!, ") {
                        Some(list) => list,
                        None => return Ok(()),
                    },
                    _ => rest,
                };
                self.bytes += registers(list).ok_or("has a list that was not understood")?;
            }
            "str" | "strd" if rest.contains("[sp, #-") && rest.contains("]!") => {
                self.bytes += constant(rest).ok_or("moves the stack by an unknown amount")?;
            }
            "sub" | "subs" | "subw" if rest.starts_with("sp") => {
                self.bytes += constant(rest).ok_or("moves the stack by an unknown amount")?;
            }
            "blx" | "bx" if rest != "lr" => return Err("calls through a pointer: no bound".into()),
            _ if rest.starts_with("pc,") && plain == "ldr" => {
                return Err("jumps through memory: no bound".into());
            }
            _ if plain.starts_with('b') || plain.starts_with("cb") => {
                // A jump out of the function is a call in its place; one inside it is none.
                let Some((address, place)) = target(rest) else {
                    return Ok(());
                };
                if address != own && !place.contains("+0x") {
                    self.calls.push(address);
                }
            }
            _ => {}
        }
        Ok(())
    }
}

/// `00000458 <name>:`
fn heading(line: &str) -> Option<(u64, &str)> {
    let (address, rest) = line.split_once(' ')?;
    let name = rest.strip_prefix('<')?.strip_suffix(">:")?;
    Some((u64::from_str_radix(address, 16).ok()?, name))
}

/// `    458:<tab>push<tab>{r4, lr}`; words of data are none.
fn instruction(line: &str) -> Option<&str> {
    let (_, text) = line.split_once(":\t")?;
    let end = ["\t@", "\t;"]
        .iter()
        .filter_map(|note| text.find(note))
        .min();
    let text = text.get(..end.unwrap_or(text.len()))?.trim();
    (!text.starts_with('.')).then_some(text)
}

/// The bytes of `{r4, r5, lr}` or `{d8-d9}`.
fn registers(list: &str) -> Option<u64> {
    let inside = list.strip_prefix('{')?.strip_suffix('}')?;
    let mut bytes = 0;
    for item in inside.split(", ") {
        let each = if item.starts_with('d') { 8 } else { 4 };
        let number = |r: &str| {
            r.trim_start_matches(char::is_alphabetic)
                .parse::<u64>()
                .ok()
        };
        let count = match item.split_once('-') {
            Some((first, last)) => number(last)?.checked_sub(number(first)?)? + 1,
            None => 1,
        };
        bytes += each * count;
    }
    Some(bytes)
}

/// The constant after the `#`.
fn constant(operands: &str) -> Option<u64> {
    let (_, number) = operands.split_once('#')?;
    let number = number.trim_start_matches('-');
    let end = number
        .find(|c: char| !c.is_ascii_digit())
        .unwrap_or(number.len());
    number.get(..end)?.parse().ok()
}

/// The address and the name of a jump's target: `4428 <name>`, `r3, 4428 <name+0x10>`.
fn target(operands: &str) -> Option<(u64, &str)> {
    let (before, place) = operands.split_once(" <")?;
    let address = before.rsplit([' ', ',']).next()?;
    Some((u64::from_str_radix(address, 16).ok()?, place))
}

#[cfg(test)]
mod tests {
    use super::{Calls, EXCEPTION};

    const LISTING: &str = "\
00000400 <Reset>:
     400:\tpush\t{r7, lr}
     402:\tbl\t420 <a<[T; 4]>::walk>
     406:\tb.n\t406 <Reset+0x6>

00000420 <a<[T; 4]>::walk>:
     420:\tstmdb\tsp!, {r4, r5, r6, r7, r8, lr}
     424:\tvpush\t{d8-d9}
     428:\tsub.w\tsp, sp, #632\t@ 0x278
     42c:\tcbz\tr0, 430 <a<[T; 4]>::walk+0x10>
     430:\tbl\t440 <leaf>
     434:\tb.w\t460 <tail>
     438:\t.word\t0x4770bf00

00000440 <leaf>:
     440:\tstr.w\tr7, [sp, #-4]!
     444:\tbx\tlr

00000460 <tail>:
     460:\tsub\tsp, #8
     462:\tstr\tr1, [sp, #4]
     464:\tbx\tlr
";

    #[test]
    fn a_worked_listing() {
        let calls = Calls::read(LISTING).expect("it is read");
        let deepest = calls.deepest("Reset").expect("there is a bound");
        assert_eq!(deepest.bytes, 8 + (6 * 4 + 16 + 632) + 8 + EXCEPTION);
        let names: Vec<&str> = deepest.path.iter().map(|(name, _)| name.as_str()).collect();
        assert_eq!(names, ["Reset", "a<[T; 4]>::walk", "tail"]);
    }

    #[test]
    fn what_has_no_bound_is_refused() {
        for (from, to, why) in [
            ("bl\t440 <leaf>", "blx\tr3", "through a pointer"),
            ("bl\t440 <leaf>", "bl\t400 <Reset>", "calls itself"),
            ("bl\t440 <leaf>", "bl\t442 <nothing>", "no function begins"),
            ("sub\tsp, #8", "sub.w\tsp, sp, r3", "unknown amount"),
        ] {
            let listing = LISTING.replace(from, to);
            let found = Calls::read(&listing).and_then(|c| c.deepest("Reset"));
            let error = found.err().unwrap_or_else(|| panic!("{to} is taken"));
            assert!(error.contains(why), "{error}");
        }
    }
}
