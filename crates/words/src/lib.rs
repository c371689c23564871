//! What is said to people, in the languages that are spoken. Three things make it up:
//!
//! * **Messages**, by an id: [`Tongue::say`] and [`Tongue::tell`], out of Project Fluent catalogues, one file
//!   for each face and language.
//! * **Phrases**, by their English words: what the core, the kinds of parts and the built-in sheets say stands
//!   there in English, and [`Tongue::phrase`] has it in the other languages. A sheet of one's own brings a
//!   [`Glossary`] for what is its own; what that lacks stands in English, and is marked so ([`runs`]).
//! * **Sentences before they are put into a language**: [`Said`]. A trail keeps the English of one; whoever
//!   reads in another language gets it from the same [`Said`], made again from what the trail holds. No
//!   sentence is taken apart to be translated.
#![deny(missing_docs)]
#![forbid(unsafe_code)]

mod catalogue;
mod glossary;
mod phrase;
mod runs;
mod said;

pub use catalogue::{Part, Tongue, messages, said_in};
pub use glossary::Glossary;
pub use phrase::{phrase_id, phrases};
pub use runs::{Run, runs, unmarked};
pub use said::Said;
