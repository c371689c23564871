//! The daemon: a task for each meter, a trail's one keeper for each visit, and what is served of
//! them over HTTP.
//!
//! [`serve()`] sets it up and runs it until it is told to stop. Everything that knows a socket is in
//! [`api`], and in [`auth`], which stands before it.
#![deny(missing_docs)]
#![forbid(unsafe_code)]

pub mod api;
pub mod auth;
pub mod config;
pub mod notify;
mod serve;

pub use serve::{ServeError, serve};
