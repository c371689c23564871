//! The daemon: a task for each meter, a trail's one keeper for each visit, and what is served of
//! them over HTTP.
//!
//! ```text
//! meters (a task each) ──bounded queue──> visits (a thread each) ── fdatasync ──> trails
//!        │                                   │   ▲
//!        └── channel, may skip ──┐           │   └── what is said, one after another
//!                                ▼           ▼
//!                         api: requests, and streams of server-sent events
//! ```
//!
//! * [`serve()`] sets it up and runs it until it is told to stop.
//! * [`meters`]: what fails in one is started again, and nothing else notices.
//! * [`visits`]: state is a fold over the trail, so a visit that fails goes on from its trail.
//! * [`index`]: all visits over the years, for questions at the door; what fails in it fails no visit.
//! * [`stream`]: who watches never holds up who measures.
//! * [`auth`]: what stands before every request; [`config`]: how the daemon is set up.
//! * [`api`]: everything else that knows HTTP, but for the page, which is in `page`. [`forms`] are the JSON forms that every face shares, [`desk`]
//!   is a visit with its trail, for the command line, too.
#![deny(missing_docs)]
#![forbid(unsafe_code)]

pub mod after;
pub mod api;
pub mod auth;
pub mod clock;
pub mod config;
mod data;
pub mod desk;
pub mod forms;
pub mod index;
pub mod meters;
pub mod metrics;
pub mod notify;
mod page;
mod serve;
pub mod sheets;
pub mod stream;
mod trouble;
pub mod visits;

pub use data::DataError;
pub use serve::{Options, ServeError, serve, serve_until};
