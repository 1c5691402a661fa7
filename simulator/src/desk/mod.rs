//! The trainer's desk: a drill with a page of its own, beside the monitor's.
//!
//! ```text
//! scenario -> session [ plant and its servers | brimwatch's live loop | log ] -> outcome, kept and printable
//!                          ^ the trainer's page: start, pause, speed, faults     ^ the trainee's panel: valves, pad, stop
//! ```
//! The trainee sits at the monitor's own page and at the panel; neither shows what is really so.

mod course;
mod known;
mod lives;
pub mod log;
pub mod outcome;
mod page;
mod paper;
mod server;
pub mod session;
pub mod told;

pub use server::{Desk, run};
