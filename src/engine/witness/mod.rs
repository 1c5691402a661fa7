//! Witnesses: each instrument made an independent estimate of the mass received in the tank.

pub mod density;
pub mod geometry;
