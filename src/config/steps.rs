//! The steps of a delivery: the site's own file or the one that comes with brimwatch, and those of it that a bay needs.

use super::fault::{Draft, Spot, nearest};
use super::tables::Beside;
use super::walk::{Table, walk};
use super::{BaySetup, STEPS_MANUAL, keys};
use crate::engine::settings::Drive;
use crate::engine::steps::{Bar, Right, SignedBy, Step};
use crate::units::{GaugePa, Kg};

/// Longest name of a step, characters.
const ID_CHARS: usize = 40;
/// Most steps in one file.
const STEPS_MOST: usize = 200;

/// What a step can be for, beside every bay.
const FITS: [&str; 6] = ["pad", "plant_gas", "tractor_gas", "pump", "vapour_return", "scrubber"];

/// Words for the bars that need no number.
const BARS: [(&str, Bar); 12] = [
    ("checks_open", Bar::ChecksOpen),
    ("started", Bar::Started),
    ("not_started", Bar::NotStarted),
    ("not_closed", Bar::NotClosed),
    ("flows", Bar::Flows),
    ("switch_tripped", Bar::SwitchTripped),
    ("emergency_stop", Bar::EmergencyStop),
    ("shutoff_bypassed", Bar::ShutoffBypassed),
    ("disagree", Bar::Disagree),
    ("pad_at_ceiling", Bar::PadAtCeiling),
    ("gas_over_vent", Bar::GasOverVent),
    ("tank_pressure_high", Bar::TankPressureHigh),
];

/// A step with the bays that it is for; none named: all.
type Fitted = (Step, Vec<String>);

/// Gives each bay its steps; a file that several bays name is read once.
pub(super) fn give(draft: &mut Draft, tables: &[Table], bays: &mut [BaySetup], beside: &mut Beside<'_>) {
    let mut read: Vec<(String, Vec<Fitted>)> = Vec::new();
    for (table, bay) in tables.iter().zip(bays) {
        let name = table.text("steps");
        let known = read.iter().position(|(file, _)| file == name);
        let place = known.unwrap_or_else(|| {
            let file = match name {
                "" => Some(draft.open("config/steps.toml (as shipped)".to_owned(), STEPS_MANUAL)),
                _ => beside.open(draft, table, "steps"),
            };
            read.push((name.to_owned(), file.map(|file| steps(draft, file)).unwrap_or_default()));
            read.len() - 1
        });
        let facts = facts(table, bay.settings.drive);
        let all = &read[place].1;
        let fits = |(_, fits): &&Fitted| fits.is_empty() || fits.iter().any(|f| facts.contains(&f.as_str()));
        bay.settings.steps = all.iter().filter(fits).map(|(step, _)| step.clone()).collect();
        if !all.is_empty() && bay.settings.steps.is_empty() {
            draft
                .fault(table.spot("steps"), table.path("steps"), format!("no step of {name:?} is for this bay"))
                .allowed(format!("a step without for, or for one of: {}", facts.join(", ")))
                .act("write steps for it, or take the line out: then the steps that come with brimwatch are taken");
        }
    }
}

/// What a bay is, in the words of a step's `for`.
fn facts(table: &Table, drive: Drive) -> Vec<&'static str> {
    let mut facts = match drive {
        Drive::Pad if table.text("pad_gas_from") == "tractor" => vec!["pad", "tractor_gas"],
        Drive::Pad => vec!["pad", "plant_gas"],
        Drive::Pump => vec!["pump"],
        Drive::PumpVapourReturn => vec!["pump", "vapour_return"],
    };
    if table.text("vapours_to") == "trailer" && drive != Drive::PumpVapourReturn {
        facts.push("vapour_return");
    }
    if table.text("vapours_to") == "scrubber" {
        facts.push("scrubber");
    }
    facts
}

/// Every step of the file of that index.
fn steps(draft: &mut Draft, file: usize) -> Vec<Fitted> {
    let root = walk(draft, file, keys::STEPS);
    if draft.has_syntax_fault() {
        return Vec::new();
    }
    let tables = root.tables("step");
    super::site::unlike(draft, tables, "id", str::to_owned);
    if tables.len() > STEPS_MOST {
        draft
            .fault(&Spot { file, span: None }, "step", format!("{} steps are too many", tables.len()))
            .allowed(format!("up to {STEPS_MOST}"))
            .act("leave out what nobody signs");
        return Vec::new();
    }
    tables.iter().map(|table| step(draft, table)).collect()
}

fn step(draft: &mut Draft, table: &Table) -> Fitted {
    let id = table.text("id");
    let plain = |c: char| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '_';
    if table.has("id") && (id.is_empty() || id.len() > ID_CHARS || !id.chars().all(plain)) {
        draft
            .fault(table.spot("id"), table.path("id"), format!("{id:?} is no name of a step"))
            .allowed(format!("1 to {ID_CHARS} small letters, digits and _"))
            .act("write a short name, for example: leak_check");
    }
    let step = Step {
        id: id.to_owned(),
        text: table.text("text").to_owned(),
        care: table.text("care").to_owned(),
        right: if table.text("role") == "engineer" { Right::Engineer } else { Right::Attend },
        signed_by: match table.text("signed_by") {
            "both" => SignedBy::Both,
            "driver" => SignedBy::Driver,
            _ => SignedBy::Site,
        },
        hold: table.flag("hold_point"),
        proof: table.flag("proof"),
        bars: bars(draft, table),
    };
    let fits = known(draft, table, "for", FITS.iter().copied()).into_iter().map(str::to_owned).collect();
    (step, fits)
}

fn bars(draft: &mut Draft, table: &Table) -> Vec<Bar> {
    let words = known(draft, table, "forbidden_while", BARS.iter().map(|(word, _)| *word));
    let of = |word: &str| BARS.iter().find(|(known, _)| *known == word).map(|(_, bar)| *bar);
    let mut bars: Vec<Bar> = words.into_iter().filter_map(of).collect();
    let pa = |key| table.optional_number(key);
    if let (Some(low), Some(high)) = (pa("pad_below"), pa("pad_above"))
        && low >= high
    {
        draft
            .fault(table.spot("pad_above"), table.path("pad_above"), "is not above pad_below: no pressure is left")
            .act("write the low end of the band as pad_below and the high end as pad_above");
    }
    bars.extend(pa("pad_below").map(|pa| Bar::PadBelow(GaugePa(pa))));
    bars.extend(pa("pad_above").map(|pa| Bar::PadAbove(GaugePa(pa))));
    bars.extend(table.optional_number("after_blow").map(Bar::AfterBlow));
    bars.extend(table.optional_number("risen_less").map(|kg| Bar::RisenLess(Kg(kg))));
    bars.extend(table.optional_number("other_rises").map(|kg| Bar::OtherRises(Kg(kg))));
    bars
}

/// Those words of a list that are known; a fault for each other.
fn known<'t>(
    draft: &mut Draft,
    table: &'t Table,
    key: &str,
    words: impl Iterator<Item = &'static str> + Clone,
) -> Vec<&'t str> {
    let mut found = Vec::new();
    for (written, spot) in table.texts(key) {
        if words.clone().any(|word| word == written) {
            found.push(written.as_str());
            continue;
        }
        draft
            .fault(spot, table.path(key), format!("{written:?} is not known here"))
            .allowed(words.clone().collect::<Vec<_>>().join(", "))
            .nearest(nearest(written, words.clone()))
            .act("write one of these words, or take it out");
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::config::tests::{planted, read_shipped};
    use crate::config::{Faults, Site};
    use std::path::Path;

    /// The shipped site with a file of steps of its own and other lines in its bay.
    fn bay(steps: &str, lines: &str) -> Result<Vec<Step>, Faults> {
        let text = planted("drive = \"pad\"\n", &format!("steps = \"our.toml\"\n{lines}\n"));
        let read = |name: &str| if name == "our.toml" { Ok(steps.to_owned()) } else { read_shipped(name) };
        Site::from_text(Path::new("site.toml"), text, &read).map(|site| site.bays[0].settings.steps.clone())
    }

    const PAD: &str = "drive = \"pad\"";

    fn ids(steps: &[Step]) -> Vec<&str> {
        steps.iter().map(|s| s.id.as_str()).collect()
    }

    /// Each drive of the shipped list, with where its gas comes from and its vapours go to.
    #[test]
    fn the_shipped_steps_hang_on_the_drive() {
        let of = |lines: &str| bay(STEPS_MANUAL, lines).unwrap_or_else(|faults| panic!("{faults}"));
        let (pad, tractor) = (of(PAD), of("drive = \"pad\"\npad_gas_from = \"tractor\""));
        let (pump, back) = (of("drive = \"pump\"\nvapours_to = \"scrubber\""), of("drive = \"pump_vapour_return\""));
        let only = ["gas_line", "compressor", "leak_check", "leak_check_pump", "scrubber_runs", "vapour_hose"];
        for (steps, has) in [(&pad, [0, 2]), (&tractor, [1, 2]), (&pump, [3, 4]), (&back, [3, 5])] {
            let found: Vec<usize> = (0..6).filter(|&i| ids(steps).contains(&only[i])).collect();
            assert_eq!(found, has, "{:?}", ids(steps));
            assert!(steps.iter().filter(|s| s.hold).count() >= 6 && steps.len() >= 20);
        }
        // Whoever releases has seen that it is over, and no step says that a signal proves something empty.
        assert!(pad.last().is_some_and(|s| s.hold && s.bars.contains(&Bar::NotClosed)));
        let bled = pad.iter().find(|s| s.id == "hose_bled").expect("a step");
        assert!(bled.proof && bled.signed_by == SignedBy::Both && bled.care.starts_with("No instrument"));
    }

    #[test]
    fn a_file_of_steps_is_faulted_at_its_lines() {
        let wrong = "[[step]]\nid = \"Leak check\"\ntext = \"a\"\nforbidden_while = [\"switch_triped\"]\n\n\
            [[step]]\nid = \"b\"\ntext = \"b\"\nfor = [\"padd\"]\npad_below = \"10 psi gauge\"\npad_above = \"5 psi gauge\"\n\n\
            [[step]]\nid = \"b\"\ntext = \"c\"\nholdpoint = true\nsigned_by = \"all\"\n";
        let faults = bay(wrong, PAD).expect_err("wrong").to_string();
        let flat = faults.split_whitespace().collect::<Vec<_>>().join(" ");
        for part in [
            "our.toml:2:6",
            "\"Leak check\" is no name of a step",
            "our.toml:4:20",
            "\"switch_triped\" is not known here",
            "switch_tripped",
            "our.toml:9:8",
            "pad_above: is not above pad_below",
            "our.toml:14:6",
            "\"b\" is used twice",
            "our.toml:16:1",
            "hold_point",
            "our.toml:17:13",
            "site, driver, both",
        ] {
            assert!(flat.contains(part), "{part}: {faults}");
        }
        let only_pump = "[[step]]\nid = \"a\"\ntext = \"a\"\nfor = [\"pump\"]\n";
        let none = bay(only_pump, PAD).expect_err("no step").to_string();
        assert!(none.contains("no step of \"our.toml\" is for this bay") && none.contains("pad, plant_gas"), "{none}");
        let broken = bay("[[step]\nid = 3", PAD).expect_err("no TOML").to_string();
        assert!(broken.contains("our.toml:1") && broken.contains("not TOML"), "{broken}");
        let many = "[[step]]\nid = \"a\"\ntext = \"a\"\n".repeat(STEPS_MOST + 1);
        assert!(bay(&many, PAD).is_err());
    }
}
