//! What is stamped on a part, as flags: each field of the kind is one, under its own name.

use clap::{Arg, ArgMatches, Command, Error, FromArgMatches};
use ohmtrail_core::reading::Function;
use ohmtrail_stock::{Kind, Part, Wanted, fields};

use crate::check::rating;
use crate::fail::Fail;

/// Amps.
pub const AMPS: Function = Function::AmpsAc;
/// Volts.
pub const VOLTS: Function = Function::VoltsAc;

/// The stamp of a part of one kind, by its place in [`Kind::ALL`].
#[derive(Debug)]
pub struct Stamp<const KIND: usize>(Vec<(&'static str, String)>);

impl<const KIND: usize> Stamp<KIND> {
    /// The part that is looked for.
    ///
    /// # Errors
    /// Every value that was not understood.
    pub fn wanted(&self) -> Result<Wanted, Fail> {
        if self.0.is_empty() {
            return Err(Fail::usage(
                "nothing is known of the failed part: say what is stamped on it, such as --volts",
            ));
        }
        let of = |name: &str| {
            let given = self.0.iter().find(|(field, _)| *field == name);
            given.map(|(_, text)| text.clone())
        };
        let part = Part::read(Kind::ALL[KIND], &of).map_err(|wrong| {
            let each: Vec<String> = wrong.iter().map(|w| format!("--{w}")).collect();
            Fail::input(each.join("\n"))
        })?;
        Ok(Wanted::of(part))
    }
}

impl<const KIND: usize> FromArgMatches for Stamp<KIND> {
    fn from_arg_matches(matches: &ArgMatches) -> Result<Self, Error> {
        let given = fields(Kind::ALL[KIND]).filter_map(|field| {
            let text = matches.get_one::<String>(field.name)?;
            Some((field.name, text.clone()))
        });
        Ok(Stamp(given.collect()))
    }

    fn update_from_arg_matches(&mut self, matches: &ArgMatches) -> Result<(), Error> {
        *self = Self::from_arg_matches(matches)?;
        Ok(())
    }
}

impl<const KIND: usize> clap::Args for Stamp<KIND> {
    fn augment_args(command: Command) -> Command {
        command.args(fields(Kind::ALL[KIND]).map(|field| {
            Arg::new(field.name)
                .long(field.name)
                .value_name("VALUE")
                .allow_hyphen_values(true)
                .help_heading("As stamped on the failed part")
                .help(format!("{}: {}", field.what, field.example))
        }))
    }

    fn augment_args_for_update(command: Command) -> Command {
        Self::augment_args(command)
    }
}

/// A rating that may be left out, over zero.
pub fn given(name: &str, text: Option<&String>, function: Function) -> Result<Option<f64>, Fail> {
    let Some(text) = text else { return Ok(None) };
    let value = rating(name, text, function)?;
    if value > 0.0 {
        Ok(Some(value))
    } else {
        Err(Fail::input(format!(
            "--{name} {text}: a rating is over zero"
        )))
    }
}
