//! The program as its users meet it: devices that die, kills, wrong files.

mod afresh;
#[path = "../bench/again.rs"]
mod again;
mod any_site;
mod bays;
mod change;
mod cli;
mod decode;
mod desk;
mod drilled;
#[cfg(feature = "peers")]
mod figures;
mod import;
mod kill;
mod lasting;
mod ledger;
mod opened;
mod play;
mod ports;
#[cfg(feature = "peers")]
mod printed;
#[path = "../bench/recorded.rs"]
mod recorded;
mod report;
mod running;
mod scenarios;
mod secrets;
mod shared_tank;
mod silence;
#[cfg(feature = "planted")]
mod slow_disk;
mod soon;
#[cfg(feature = "peers")]
mod tls;
mod tune;
