//! Recordings: what is written reads back, what is damaged is said, what is replayed is the same bit for bit.

mod builds;
mod damage;
mod files;
mod format;
mod keys;
#[cfg(feature = "peers")]
mod release;
mod replay;
mod samples;
mod toy;
