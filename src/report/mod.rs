//! The unloading record: what one delivery's recordings say, for attendant and accountant.
//!
//! ```text
//! recordings of one delivery -> segments -> gather -> Account
//! ```
//! Everything is read from the outputs on record, so that a record says what was on the screen then, whatever program
//! reads it later. Only what the chain of links covers counts: the same bytes give the same account, and the last link,
//! which stands in it, ties the two together. The figures are operating figures: not legal for trade.

pub mod account;
mod gather;
mod segments;
mod ticket;

use crate::recording::RecordingError;
use account::Account;
use std::path::{Path, PathBuf};

/// Why there is no account.
#[derive(Debug, thiserror::Error)]
pub enum AccountError {
    /// The recording cannot be read.
    #[error(transparent)]
    Recording(#[from] RecordingError),
    /// Nothing in it belongs to a delivery.
    #[error("{}: no delivery was opened in it, so there is nothing to account for; give the recording of a delivery", .0.display())]
    NoDelivery(PathBuf),
}

/// The recordings of the delivery that one is of, in their order, that one among them.
///
/// # Errors
/// When it cannot be read.
pub fn recordings_of_delivery(recording: &Path) -> Result<Vec<PathBuf>, RecordingError> {
    segments::of_one_delivery(recording)
}

/// The account of the delivery that a recording is of, out of it and the recordings beside it that are of the same
/// delivery. It may still be open: see [`Account::is_closed`].
///
/// # Errors
/// When a recording cannot be read, or is of no delivery.
pub fn account(recording: &Path) -> Result<Account, AccountError> {
    let paths = recordings_of_delivery(recording)?;
    gather::gather(recording, &paths)
}
