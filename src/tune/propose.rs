//! From measured noise to lines for the site file: the dead-band of each alarm that holds one reading against a limit.

use super::noise::{MARGIN, Proposal};
use crate::config::keys::{Bounds, Form, Key, SITE};
use crate::units::Unit;
use serde::Serialize;

/// Kinds of values, how much of the key's unit is one of theirs, and the keys of the alarms that hold a reading of that kind
/// against a limit. `wrong_product` is not here, since it looks at the mean of a minute; nor is a level by pressure, which
/// the product's density makes a level.
const HELD: [(&str, f64, &[&str]); 7] = [
    ("level_m", 1.0, &["level_high_high"]),
    (MARGIN, 1.0, &["high_level_projected"]),
    ("pad_pressure_pa_gauge", 1.0, &["pad_near_ceiling", "pad_above_mawp", "pad_in_relief_window", "pad_below_tank"]),
    ("flow_kg_per_s", 1.0, &["movement_outside_transfer", "reverse_flow"]),
    // A litre for a kilogram, as the conditions take it.
    ("flow_m3_per_s", 1000.0, &["movement_outside_transfer", "reverse_flow"]),
    ("tank_temperature_c", 1.0, &["possible_reaction"]),
    ("scale_kg", 1.0, &["truck_gone"]),
];
/// Where these keys stand.
const TABLE: &str = "alarms.dead_band";

/// A line for the site file.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct DeadBand {
    /// Its key, from the top of the file.
    pub key: String,
    /// The value, as it is written.
    pub written: String,
    /// The bay whose noise it is.
    pub bay: String,
    /// The signal.
    pub signal: String,
    /// The noise asks for more than a dead-band may be: look at the instrument.
    pub held_back: bool,
}

/// What follows from the noise of all bays: the site file has one dead-band for an alarm, so the widest counts.
#[must_use]
pub fn dead_bands(proposals: &[(String, Proposal)]) -> Vec<DeadBand> {
    let keys = SITE.iter().filter(|key| key.parent() == TABLE);
    keys.filter_map(|key| {
        let wanted = proposals.iter().filter_map(|(bay, p)| {
            let held = HELD.iter().find(|(kind, _, alarms)| *kind == p.kind && alarms.contains(&key.name()))?;
            Some((p.dead_band_si * held.1, bay, p))
        });
        let (width_si, bay, p) = wanted.max_by(|a, b| a.0.total_cmp(&b.0)).filter(|(width, ..)| *width > 0.0)?;
        let (written, held_back) = write(key, width_si)?;
        let (bay, signal) = (bay.clone(), p.signal.clone());
        Some(DeadBand { key: key.path.to_owned(), written, bay, signal, held_back })
    })
    .collect()
}

/// In the unit of the key's example, rounded up to two figures, not beyond what is allowed.
fn write(key: &Key, width_si: f64) -> Option<(String, bool)> {
    let (Form::Amount(Bounds { high, .. }) | Form::Difference(Bounds { high, .. })) = key.form else { return None };
    let unit = key.example.split_once(' ').and_then(|(_, unit)| Unit::parse(unit))?;
    let (width, most) = (width_si / unit.step_to_si(1.0), high / unit.step_to_si(1.0));
    let held_back = width > most;
    let width = width.min(most);
    let step = libm::pow(10.0, libm::log10(width).floor() - 1.0);
    // The quotient may miss a whole number by its last bit.
    let up = (width / step * (1.0 - 1e-12)).ceil() * step;
    let rounded = if up > most { libm::floor(most / step) * step } else { up };
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "0 to 9")]
    let decimals = (1.0 - libm::log10(width).floor()).clamp(0.0, 9.0) as usize;
    Some((format!("{rounded:.decimals$} {unit}"), held_back))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::config::keys::Presence;

    fn noisy(kind: &str, dead_band_si: f64) -> (String, Proposal) {
        let proposal = Proposal {
            signal: kind.to_owned(),
            kind: kind.to_owned(),
            values: 10_000,
            noise_si: dead_band_si / 6.6,
            dead_band_si,
            delay_s: 7.0,
        };
        ("Bay 1".to_owned(), proposal)
    }

    /// 1 psi is 6,894.757 Pa (NIST SP 811, B.8): 1,240 Pa are 0.1798 psi.
    #[test]
    fn the_widest_noise_is_written_in_the_keys_unit_and_rounded_up() {
        let found = dead_bands(&[
            noisy("pad_pressure_pa_gauge", 800.0),
            noisy("pad_pressure_pa_gauge", 1_240.0),
            noisy("level_m", 0.0071),
            noisy("flow_m3_per_s", 1.2e-5),
            noisy("scale_kg", 1e6),
            noisy("tank_temperature_c", 0.0),
        ]);
        let written = |name: &str| {
            let line = found.iter().find(|line| line.key.ends_with(name));
            line.map(|line| (line.written.as_str(), line.held_back))
        };
        assert_eq!(written("pad_near_ceiling"), Some(("0.18 psi gauge", false)));
        assert_eq!(written("pad_below_tank"), written("pad_near_ceiling"));
        assert_eq!(written("level_high_high"), Some(("7.1 mm", false)));
        assert_eq!(written("reverse_flow"), Some(("0.012 kg/s", false)));
        assert_eq!(written("truck_gone"), Some(("2900 kg", true)));
        assert_eq!(written("possible_reaction"), None);
        assert_eq!(written("wrong_product"), None);
    }

    /// Every alarm that a kind is held against has its key, and none of them must be written.
    #[test]
    fn every_key_is_there() {
        for name in HELD.iter().flat_map(|(_, _, alarms)| *alarms) {
            let key = SITE.iter().find(|key| key.parent() == TABLE && key.name() == *name).expect("a key");
            assert!(matches!(key.presence, Presence::Default(_)), "{name}");
        }
    }
}
