//! The checks of a delivery, as far as files can answer them: what a signal or a person says is not yet known.

use crate::config::{COLUMNS, DeliveryFile, Site, wrapped};
use crate::engine::Monitor;
use crate::engine::input::{Carried, Entry, Event, Input, What};
use crate::time::{EngineTime, WallTime};
use crate::words::en::English;
use crate::words::{CheckText, Language as _, Scene};
use jiff::tz::TimeZone;
use serde::Serialize;

/// One check of a delivery.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct PaperCheck {
    /// Its name in entries and JSON.
    pub check: &'static str,
    /// What is checked.
    pub name: &'static str,
    /// "met", "not yet" or "fails".
    pub state: &'static str,
    /// Only a person's entry on the page answers it.
    pub by_person: bool,
    /// Why, with numbers and limits; or what a person has to do for it.
    pub says: String,
}

/// What a watch would say of this delivery when it is opened now.
pub fn checks(site: &Site, delivery: &DeliveryFile, now: WallTime) -> Vec<PaperCheck> {
    let settings = &site.bays[delivery.bay].settings;
    let mut monitor = Monitor::new(settings.clone(), Carried::default());
    let what = What::DeliveryOpened(Box::new(delivery.setup.clone()));
    let entry = Event::Entry(Entry { who: "check".to_owned(), leg: 1, what });
    for event in [Event::Clock(now), entry] {
        monitor.step(&Input { at: EngineTime(0), event });
    }
    let frame = monitor.frame();
    let zone = TimeZone::UTC;
    let scene = Scene::new(settings, &frame, &zone);
    let line = |check| {
        let CheckText { name, state, says } = English.check(scene, check);
        PaperCheck { check: check.id.name(), name, state, by_person: check.by_person, says }
    };
    frame.checks.iter().map(line).collect()
}

/// A line or more for each, and what the list is not.
pub fn lines(checks: &[PaperCheck]) -> String {
    const INDENT: usize = 14;
    let mut text = String::from("Delivery\n");
    for check in checks {
        let said = wrapped(&format!("{}: {}", check.name, check.says), COLUMNS - INDENT);
        for (i, line) in said.lines().enumerate() {
            let state = if i == 0 { check.state } else { "" };
            text += &format!("    {state:<10}{line}\n");
        }
    }
    let last = "These are the papers alone: what signals and people say comes when the delivery is opened.";
    for line in wrapped(last, COLUMNS - 4).lines() {
        text += &format!("    {line}\n");
    }
    text
}
