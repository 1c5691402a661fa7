//! Alarms: a pure condition (true, false, unknown), a small machine per alarm, and one catalogue.

pub mod catalogue;
pub mod condition;
pub mod deviations;
pub(crate) mod hazards;
pub mod machine;
pub mod suppression;
