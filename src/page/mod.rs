//! What the attendant sees. One direction: what the live loop publishes becomes a page; the only thing that
//! goes back is a person's entry and an engineer's change of settings.

mod account;
mod bays;
pub mod changes;
mod cookie;
pub mod door;
pub mod entries;
mod far;
pub mod feed;
pub mod figures;
mod forms;
#[cfg(test)]
mod languages;
mod look_back;
mod papers;
pub mod reader;
mod screens;
pub mod server;
mod settings;
pub mod sign_in;
mod steps;
pub mod tls;
pub mod view;

#[cfg(test)]
#[path = "../../tests/browser/scenes.rs"]
mod scenes;
