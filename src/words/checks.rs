//! English for the checks of a delivery.

use super::display::hh_mm;
use super::measures::Shown;
use super::{CheckText, Scene, Text, plain};
use crate::engine::checks::{Check, CheckId, CheckState, Paper, Wanted, Why};
use crate::engine::papers::Property;

/// What is checked, as a line of a list.
pub(super) fn name(id: CheckId) -> &'static str {
    match id {
        CheckId::Product => "Right product for this tank",
        CheckId::ShippingDescription => "Shipping description",
        CheckId::HazardMarking => "Hazard marking",
        CheckId::Certificate => "Certificate within its limits",
        CheckId::SealNumbers => "Seal numbers",
        CheckId::SealsUnbroken => "Seals seen unbroken",
        CheckId::CarrierAndDriver => "Carrier and driver",
        CheckId::Plate => "Trailer's plate typed in",
        CheckId::PlateReadBack => "Plate read back",
        CheckId::LoadFits => "Load fits the tank",
        CheckId::TrailerPressure => "Trailer's pressure",
        CheckId::TrailerTemperature => "Trailer's temperature",
        CheckId::PadGas => "Pad gas",
        CheckId::DewPoint => "Dew point of the pad gas",
        CheckId::GasRelief => "Relief valve of the gas supply",
        CheckId::ShutoffTested => "High-level shut-off tested",
        CheckId::ShutoffInService => "High-level shut-off in service",
        CheckId::ConnectionIdentified => "Receiving connection identified",
        CheckId::EmergencyEquipment => "Emergency equipment shown",
    }
}

/// What a person has to do for a check that only a person can make.
fn asks(scene: Scene<'_>, id: CheckId) -> String {
    match id {
        CheckId::SealsUnbroken => "look at every seal: dome, valves, outlet".into(),
        CheckId::PlateReadBack => {
            format!("read the plate again, with its units, against what was typed in: {}", plate(scene))
        }
        CheckId::PadGas => {
            format!("{} is set at this bay: see that the product's own papers allow it", scene.settings.gas.name)
        }
        CheckId::DewPoint => {
            let most = scene.measures.text(Shown::Temperature, scene.settings.expected.dew_point.0);
            format!("no signal: read the drier, at most {most}")
        }
        CheckId::ShutoffInService => "see that it is switched on, not bypassed, and acts on the right valve".into(),
        CheckId::ConnectionIdentified => {
            "stand at the receiving connection; its label and the papers name one product and tank".into()
        }
        CheckId::EmergencyEquipment => {
            "show the driver shower, eyewash, emergency stop, telephone and the way out".into()
        }
        _ => String::new(),
    }
}

/// What was typed off the plate.
fn plate(scene: Scene<'_>) -> String {
    let pad = &scene.frame.pad;
    let each = [("MAWP", pad.mawp_pa_gauge), ("relief from", pad.relief_from_pa_gauge), ("to", pad.relief_to_pa_gauge)];
    each.map(|(label, pa)| {
        format!("{label} {}", pa.map_or_else(|| "not set".to_owned(), |pa| scene.measures.plate(pa)))
    })
    .join(", ")
}

fn paper(paper: Paper) -> &'static str {
    match paper {
        Paper::ProductTag => "product tag",
        Paper::ShippingDescription => "shipping description",
        Paper::Marking => "hazard marking as found",
        Paper::Certificate => "certificate with its properties",
        Paper::SealsExpected => "seal numbers of the papers",
        Paper::SealsFound => "seal numbers as found",
        Paper::Carrier => "carrier",
        Paper::Driver => "driver",
        Paper::PressureFound => "trailer's pressure at arrival",
        Paper::TemperatureFound => "trailer's temperature at arrival",
    }
}

fn wanted(wanted: Wanted) -> &'static str {
    match wanted {
        Wanted::Specification => "the plate's specification",
        Wanted::Mawp => "the plate's MAWP",
        Wanted::Relief => "the plate's relief setting",
        Wanted::HoseRating => "the hose's rating",
        Wanted::LineRating => "the line's rating",
        Wanted::ConnectionRating => "the connection's rating",
        Wanted::ShippingDescription => "the product's shipping description (product file)",
        Wanted::Marking => "the product's hazard marking (product file)",
        Wanted::TemperatureLimits => "the product's temperature limits (product file)",
        Wanted::GasRelief => "the supply's relief setting (bay.supply.relief)",
        Wanted::ShutoffTested => "day of the last test (tank.shutoff_tested)",
    }
}

fn limits(low: Option<String>, high: Option<String>) -> String {
    match (low, high) {
        (Some(low), Some(high)) => format!("limits {low} to {high}"),
        (Some(low), None) => format!("at least {low}"),
        (None, Some(high)) => format!("at most {high}"),
        (None, None) => "no limits".to_owned(),
    }
}

fn why(scene: Scene<'_>, check: &Check, why: &Why) -> String {
    match why {
        Why::NotWritten(missing) => format!("not in the delivery's papers: {}", paper(*missing)),
        Why::NotSet(missing) => format!("not set: {}", wanted(*missing)),
        Why::Found(found) => format!("found: {found}"),
        Why::Differs { expected, found } => format!("found: {found}; expected: {expected}"),
        Why::Pressure { pa_gauge, most_pa_gauge } => {
            format!("{}, at most {}", scene.measures.plate(*pa_gauge), scene.measures.plate(*most_pa_gauge))
        }
        Why::Temperature { c, low_c, high_c } => {
            let shown = |c| scene.measures.text(Shown::Temperature, c);
            format!("{}, {}", shown(*c), limits(low_c.map(shown), high_c.map(shown)))
        }
        Why::NoValue(property) => format!("no value for {property}"),
        Why::NoLimits(property) => format!("no limits for {property}"),
        Why::Property(Property { name, value, unit, low, high }) => {
            let of = |limit: &Option<f64>| limit.map(plain);
            let value = value.map_or_else(|| "no value".to_owned(), plain);
            format!("{name} {value} {unit}, {}", limits(of(low), of(high)))
        }
        Why::Properties(1) => "the one property on it".into(),
        Why::Properties(count) => format!("all {count} properties on it"),
        Why::Room { kg: room, .. } if *room < 0.0 => {
            format!("{} too much for high-high when all is in", scene.measures.mass_up(-room))
        }
        Why::Room { kg: room, opening_kg } => {
            let [room, kept] = [scene.measures.mass_down(*room), scene.measures.mass_up(*opening_kg)];
            format!("{room} left below high-high when all is in, {kept} kept for the opening check")
        }
        Why::MarginUnknown => "the margin is not known yet: no level that can be used".into(),
        Why::NotRead(signal) => format!("{} gives no value that can be used", scene.signal(*signal)),
        Why::Tested { days, .. } if *days < 0 => "its date lies ahead of the clock".into(),
        Why::Tested { days, most_days } => format!("{days} days ago, at most {most_days}"),
        Why::SwitchTripped => "the independent high-level switch has tripped".into(),
        Why::Bypassed => "the shut-off is bypassed".into(),
        Why::NotEntered => asks(scene, check.id),
        Why::Entered { who, at, note } => {
            let now = scene.frame.clock.wall_at(scene.frame.at);
            let note = if note.is_empty() { String::new() } else { format!(": {note}") };
            format!("{who}, {}{note}", hh_mm(*at, now, scene.zone))
        }
    }
}

/// The state as a word; beside it stands a shape.
#[must_use]
pub(super) fn state(state: CheckState) -> &'static str {
    match state {
        CheckState::Met => "met",
        CheckState::NotYet => "not yet",
        CheckState::Fails => "fails",
    }
}

/// A check in words.
pub(super) fn check(scene: Scene<'_>, check: &Check) -> CheckText {
    let mut says = check.why.iter().map(|w| why(scene, check, w)).collect::<Vec<_>>().join("; ");
    if says.is_empty() {
        says = "as the delivery's papers say".to_owned();
    }
    CheckText { name: name(check.id), state: state(check.state), says }
}

/// What the checks call for, and whom to call.
pub(super) fn head(scene: Scene<'_>) -> Text {
    let frame = scene.frame;
    let of = |wanted: CheckState| frame.checks.iter().filter(|c| c.state == wanted).collect::<Vec<_>>();
    let (fails, open) = (of(CheckState::Fails), of(CheckState::NotYet));
    let names = |checks: &[&Check]| checks.iter().map(|c| name(c.id).to_lowercase()).collect::<Vec<_>>().join(", ");
    if let Some(reason) = frame.delivery.as_ref().and_then(|d| d.rejected.as_ref()) {
        return Text { says: format!("Rejected: {reason}"), beyond: calls(scene), ..Text::default() };
    }
    if !fails.is_empty() {
        return Text {
            act: "Hold: connect nothing.".into(),
            care: "Whether this load is held or rejected is decided with those below, not here.".into(),
            says: format!("Fails: {}.", names(&fails)),
            beyond: calls(scene),
        };
    }
    if open.is_empty() {
        return Text { says: "Every check is met. That says nothing of what was not asked.".into(), ..Text::default() };
    }
    Text { says: format!("Not yet: {}.", names(&open)), ..Text::default() }
}

fn calls(scene: Scene<'_>) -> String {
    let contacts = &scene.settings.expected.contacts;
    let each = [("Supervisor", &contacts.supervisor), ("Shipper", &contacts.shipper), ("Supplier", &contacts.supplier)];
    let known = each.iter().filter_map(|(label, who)| who.as_ref().map(|who| format!("{label}: {who}.")));
    let known = known.collect::<Vec<_>>().join(" ");
    if known.is_empty() { "The site file names nobody to call ([contacts]).".to_owned() } else { known }
}
