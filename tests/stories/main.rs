//! Operating stories: given a bay, when this happens, then that is said. No I/O: inputs in, frames out.

mod afterwards;
mod attendance;
mod bay;
mod blame;
mod blow;
mod bounds;
mod checks;
mod clock;
mod corrections;
mod cross_check;
mod deviations;
#[path = "../bench/driver.rs"]
mod driver;
mod gauges;
mod hazards;
#[cfg(feature = "live")]
mod ledger;
mod losses;
mod networks;
mod opening;
mod pad;
mod pad_creep;
mod planted;
mod recorded;
mod shapes;
mod shared_tank;
mod shelves;
mod steps;
mod suppressed;
#[cfg(feature = "live")]
mod swarm;
mod totals;
mod transfer;
mod true_masses;
mod visitors;
mod wire;
mod zero;
