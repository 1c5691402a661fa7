//! The program as its users meet it: devices that die, kills, wrong files.

mod bays;
mod change;
mod cli;
mod decode;
mod drilled;
mod import;
mod kill;
mod ports;
mod running;
mod shared_tank;
mod silence;
mod tune;
