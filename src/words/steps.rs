//! What is said of the steps of a delivery.

use super::Scene;
use super::display::{hh_mm, number};
use crate::engine::blow::{Blow, BlowState};
use crate::engine::steps::{Against, Bar, Side, Signature, Stands};
use crate::units::{GaugePa, Kg};

/// Labels around the steps.
#[derive(Debug, Clone, Copy)]
pub struct StepLabels {
    /// Before the step whose turn has come.
    pub next: &'static str,
    /// Between its number and how many there are.
    pub of: &'static str,
    /// Every step is signed or let go.
    pub none_left: &'static str,
    /// Said of a hold point.
    pub hold_point: &'static str,
    /// Said of a step for which what was seen must be written.
    pub proof: &'static str,
    /// Said of a step that both sides sign.
    pub both: &'static str,
    /// Said of a step that the driver signs.
    pub by_driver: &'static str,
    /// Before what forbids.
    pub forbidden: &'static str,
    /// Head of the whole list.
    pub all: &'static str,
    /// What comes before any list.
    pub before_all: &'static str,
    /// Label of the choice of a step.
    pub which: &'static str,
    /// Label of what is written with a signature.
    pub note: &'static str,
    /// Label of the driver's name.
    pub driver: &'static str,
    /// Signs for the site.
    pub sign_site: &'static str,
    /// Signs for the driver.
    pub sign_driver: &'static str,
    /// Lets the step go unsigned.
    pub skip: &'static str,
    /// The hose begins to be blown clear.
    pub blow_begins: &'static str,
    /// That is over.
    pub blow_ends: &'static str,
}

/// In English.
pub(super) const LABELS: StepLabels = StepLabels {
    next: "Next step",
    of: "of",
    none_left: "Every step is signed or was let go.",
    hold_point: "Hold point",
    proof: "Write what was seen on the spot",
    both: "Both sides sign",
    by_driver: "The driver signs",
    forbidden: "Not now",
    all: "All steps, signed and to come",
    before_all: "Local codes, the site's own procedure and licensed practice come first. People confirm; a signal can only \
                 forbid. Nitrogen can asphyxiate without warning, at the dome and at the vent.",
    which: "Step",
    note: "What was seen, or why it is let go",
    driver: "Driver's name",
    sign_site: "Sign for the site",
    sign_driver: "Sign for the driver",
    skip: "Let it go unsigned",
    blow_begins: "Blowing clear begins",
    blow_ends: "Blowing clear has ended",
};

/// How a step stands, as a word; beside it stands a shape. None: its turn has not come.
pub(super) fn stands(stands: Option<Stands>) -> &'static str {
    match stands {
        Some(Stands::Open) => "its turn",
        Some(Stands::Signed) => "signed",
        Some(Stands::Skipped) => "let go",
        None => "waits",
    }
}

/// Who has signed, for whom, when, and what they wrote.
pub(super) fn signature(scene: Scene<'_>, signature: &Signature) -> String {
    let Signature { side, who, at, note } = signature;
    let side = match side {
        Side::Site => "site",
        Side::Driver => "driver",
    };
    let now = scene.frame.clock.wall_at(scene.frame.at);
    let note = if note.is_empty() { String::new() } else { format!(": {note}") };
    format!("{side}, {who}, {}{note}", hh_mm(*at, now, scene.zone))
}

fn seconds(s: f64) -> String {
    format!("{}\u{a0}s", number(s.ceil(), 0))
}

/// What the gas behind the last liquid will do and has done, a line each.
pub(super) fn blow(scene: Scene<'_>, blow: &BlowState) -> Vec<String> {
    let mut lines = Vec::new();
    let (per_h, pressure) = (|kg_per_s| scene.measures.gas_flow(kg_per_s), |pa| scene.measures.plate(pa));
    let most =
        blow.most_kg_per_s.map_or(String::new(), |most| format!(", {} through the full bore at the most", per_h(most)));
    if let Some(gas) = blow.gas_kg_per_s {
        lines.push(format!("Gas behind the last liquid: about {} by the line's resistance{most}.", per_h(gas)));
    } else if let Some(most) = blow.most_kg_per_s {
        lines.push(format!("Gas behind the last liquid: {} through the full bore at the most.", per_h(most)));
    }
    match (blow.vent_kg_per_s, blow.tank_pa_gauge.zip(blow.limit_pa_gauge)) {
        (None, _) => lines.push("What the tank's vent passes is not set (tank.vent_capacity).".into()),
        (Some(vent), None) => lines.push(format!("The tank's vent passes {}; its limit is not set.", per_h(vent))),
        (Some(vent), Some((tank, limit))) => {
            let soon = blow.to_limit_s.map_or(String::new(), |s| format!(", its limit in {}", seconds(s)));
            lines.push(format!(
                "The tank's vent passes {}; the tank would come to {}{soon}. Limit {}.",
                per_h(vent),
                pressure(tank),
                pressure(limit)
            ));
        }
    }
    if !blow.blows.is_empty() {
        let lasted = |b: &Blow| b.ended.unwrap_or(scene.frame.at).since_s(b.began);
        let each: Vec<String> = blow.blows.iter().map(|b| seconds(lasted(b))).collect();
        lines.push(format!("Blown clear {} times: {}.", each.len(), each.join(", ")));
    }
    lines
}

/// What speaks against a step, or cannot be read.
pub(super) fn against(scene: Scene<'_>, against: &Against) -> String {
    let Against { bar, forbids, value_si } = *against;
    if !forbids {
        return format!("{} cannot be read: look yourself, and write what you went by", unseen(bar));
    }
    let (pressure, kg) = (|pa| scene.measures.plate(pa), |kg| scene.measures.mass(kg));
    let read = |shown: &dyn Fn(f64) -> String| value_si.map_or_else(|| "not known".to_owned(), shown);
    match bar {
        Bar::ChecksOpen => "a check of this delivery fails or is not made".into(),
        Bar::Started => "\u{201c}Transfer started\u{201d} has been entered".into(),
        Bar::NotStarted => "\u{201c}Transfer started\u{201d} has not been entered".into(),
        Bar::NotClosed => "\u{201c}Closed\u{201d} has not been entered".into(),
        Bar::Flows => "something flows through the meter".into(),
        Bar::SwitchTripped => "the independent high-level switch has tripped".into(),
        Bar::EmergencyStop => "the emergency stop is pressed".into(),
        Bar::ShutoffBypassed => "the shut-off is bypassed".into(),
        Bar::Disagree => "the instruments disagree".into(),
        Bar::PadAtCeiling => format!("the pad is near its ceiling: {}", read(&pressure)),
        Bar::PadAbove(GaugePa(limit)) => format!("the pad is {}, above {}", read(&pressure), pressure(limit)),
        Bar::PadBelow(GaugePa(limit)) => format!("the pad is {}, below {}", read(&pressure), pressure(limit)),
        Bar::RisenLess(Kg(least)) => match value_si {
            Some(risen) => format!("the tank's own gauge shows {} received, less than {}", kg(risen), kg(least)),
            None => format!("the tank has not risen by {}", kg(least)),
        },
        Bar::GasOverVent => {
            format!(
                "{} of gas would follow, more than the tank's vent passes: lower the pad",
                read(&|kg_per_s| scene.measures.gas_flow(kg_per_s))
            )
        }
        Bar::TankPressureHigh => format!(
            "{} {} The tank is near its own pressure limit: {}",
            super::en::ACT,
            super::en::CARE,
            read(&pressure)
        ),
        Bar::AfterBlow(_) => format!("wait {} more after the hose was blown clear", read(&seconds)),
        Bar::OtherRises(_) => format!(
            "{} {} Another tank of this bay has risen by {}: liquid may go where it does not belong",
            super::en::ACT,
            super::en::CARE,
            read(&kg)
        ),
    }
}

fn unseen(bar: Bar) -> &'static str {
    match bar {
        Bar::GasOverVent => {
            "What the vent passes, or the gas that will follow (vent_capacity, bore, loss of the site file),"
        }
        Bar::TankPressureHigh => "The tank's pressure, or its limit,",
        Bar::Flows => "Whether anything flows",
        Bar::SwitchTripped => "The high-level switch",
        Bar::EmergencyStop => "The emergency stop",
        Bar::ShutoffBypassed => "The bypass of the shut-off",
        Bar::PadAtCeiling => "How near the pad is to its ceiling",
        Bar::PadAbove(_) | Bar::PadBelow(_) => "The trailer's pad",
        Bar::RisenLess(_) => "The tank's own gauge",
        Bar::OtherRises(_) => "Another tank's gauge, or another bay fills that tank:",
        Bar::ChecksOpen | Bar::Started | Bar::NotStarted | Bar::NotClosed | Bar::Disagree | Bar::AfterBlow(_) => "This",
    }
}
