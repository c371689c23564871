//! The daemon: a task for each meter, a trail's one keeper for each visit, and what is served of
//! them over HTTP.
//!
//! [`serve()`] sets it up and runs it until it is told to stop. Everything that knows a socket is in
//! [`api`].
#![deny(missing_docs)]
#![forbid(unsafe_code)]

pub mod api;
mod serve;

pub use serve::{Options, ServeError, serve};
