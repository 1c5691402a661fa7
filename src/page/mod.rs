//! What the attendant sees.

pub mod feed;
