//! The ledger: the list of all deliveries of a site.

pub mod chart;
