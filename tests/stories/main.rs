//! Operating stories: given a bay, when this happens, then that is said. No I/O: inputs in, frames out.

mod bay;
mod blame;
mod bounds;
mod checks;
mod losses;
mod networks;
mod pad;
mod planted;
mod recorded;
mod shapes;
mod shared_tank;
mod shelves;
mod transfer;
mod wire;
