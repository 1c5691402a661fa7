//! No setting that a site file may have silences what must be said.

use super::bay::{PAD_PA, RATE, START_S, Story};
use brimwatch::config::Site;
use brimwatch::config::keys::{self, Bounds, Form};
use brimwatch::engine::input::AlarmId;
use brimwatch::engine::settings::Settings;
use brimwatch::units::Quantity;
use std::path::Path;

/// The longest that an alarm of estimates may be made to wait, s: more than a minute would be a setting that silences.
const LONGEST_DELAY_S: u64 = 60;

/// The shipped site with every key of its alarms at one end of what it may be.
fn at_one_end(end: fn(Bounds) -> f64) -> (Settings, usize) {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("config/site.toml");
    let mut text = std::fs::read_to_string(&path).expect("the site file");
    let mut set = 0;
    for key in keys::SITE.iter().filter(|key| key.path.starts_with("alarms.")) {
        let (Form::Amount(bounds) | Form::Difference(bounds)) = key.form else { continue };
        let unit = match bounds.quantity {
            Quantity::Ratio => "1",
            Quantity::Time => "s",
            Quantity::Length => "m",
            Quantity::GaugePressure => "Pa gauge",
            Quantity::Mass => "kg",
            Quantity::MassFlow => "kg/s",
            Quantity::Density => "kg/m3",
            Quantity::Temperature => "C",
            other => panic!("{}: give the SI unit of {other:?}", key.path),
        };
        let table = format!("[{}]\n", key.parent());
        let with = format!("{table}{} = \"{} {unit}\"\n", key.name(), end(bounds));
        assert!(text.contains(&table), "{table}");
        text = text.replacen(&table, &with, 1);
        set += 1;
    }
    let folder = path.parent().expect("a folder").to_owned();
    let site = Site::from_text(&path, text, &|name| std::fs::read_to_string(folder.join(name)));
    (site.unwrap_or_else(|faults| panic!("{faults}")).bays[0].settings.clone(), set)
}

fn open(story: &Story, id: AlarmId) -> bool {
    story.last.alarms.iter().any(|alarm| alarm.key.id == id)
}

/// With every key at its lowest and with every key at its highest: a level at high-high, a tripped switch, a pad at its
/// ceiling are said at the poll that shows them, a load that will not fit within a minute, mass missing still in time.
#[test]
fn no_allowed_setting_silences() {
    for end in [(|b: Bounds| b.low) as fn(Bounds) -> f64, |b| b.high] {
        let (settings, set) = at_one_end(end);
        assert!(set >= 15, "{set} keys");
        let delivery = Story::opened().delivery;
        let story = || {
            let mut story = Story::with(settings.clone(), delivery.clone());
            story.start();
            story.run_to(START_S + 60);
            story
        };
        let mut full = story();
        full.bend = |truth| (truth.opening_m, truth.switch) = (7.25, true);
        full.run_to(START_S + 61);
        assert!(open(&full, AlarmId::LevelHighHigh) && open(&full, AlarmId::LevelSwitchTripped));
        full.run_to(START_S + 62 + LONGEST_DELAY_S);
        assert!(open(&full, AlarmId::HighLevelProjected));

        let mut pushed = story();
        // The shipped ceiling is the site's 25 psi gauge.
        pushed.bend = |truth| truth.pad_pa = 25.2 * 6_894.757;
        pushed.run_to(START_S + 61);
        assert!(open(&pushed, AlarmId::PadNearCeiling), "above {PAD_PA} Pa");

        let mut leaking = story();
        leaking.bend = |truth| {
            #[expect(clippy::cast_precision_loss, reason = "hours")]
            let lost = 0.2 * RATE * truth.s.saturating_sub(START_S + 300) as f64;
            truth.received_kg -= lost;
        };
        leaking.run_to(START_S + 300 + 600 + LONGEST_DELAY_S);
        assert!(open(&leaking, AlarmId::WitnessesDisagree));
    }
}
