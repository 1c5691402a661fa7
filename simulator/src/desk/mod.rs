//! The trainer's desk: a drill with a page of its own, beside the monitor's.
//!
//! ```text
//! scenario  -> session [ behind: a plant, or a player | watched: brimwatch's live loop | log ] -> outcome, kept and
//! recording    ^ the trainer's page: start, pause, speed, faults                                  printable
//!              ^ the trainee's panel: valves, pad, stop
//! ```
//! The trainee sits at the monitor's own page and at the panel; neither shows what is really so.

pub mod behind;
mod course;
mod known;
mod lives;
pub mod log;
pub mod outcome;
mod page;
mod paper;
pub mod recordings;
mod server;
pub mod session;
pub mod told;
mod truth;
mod watched;

pub use server::{Desk, run};
