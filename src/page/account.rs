//! Where each mass and the combined one come from, drawn while somebody looks at it: the budget, how far it is off the others, and the
//! readings it is made of with their registers, raw words and poll times. No part of the frames.

use super::feed::{Block, DeviceStats, PlaceSaid, Published};
use super::reader::Reader;
use crate::engine::frame::{Estimate, Together, Validity, Witness, WitnessId};
use crate::engine::settings::SignalKind;
use crate::uncertainty::{Budget, COVERAGE};
use crate::words::display::number;
use crate::words::measures::Shown;
use crate::words::{PageWords, Scene};
use maud::{Markup, html};

/// The three masses, one after the other.
pub(super) fn fragment(published: &Published, reader: &Reader) -> Markup {
    let scene = reader.scene(published);
    html! {
        @for witness in &scene.frame.witnesses { (one(published, scene, witness, reader)) }
        @if let Some(mass) = scene.frame.together { (together(scene, &mass, reader)) }
    }
}

/// The combined mass: what each of the others counts in it, and what is left of their contributions.
fn together(scene: Scene<'_>, mass: &Together, reader: &Reader) -> Markup {
    let (language, words) = (reader.language, reader.language.page());
    let counted = scene.frame.witnesses.iter().zip(mass.weights).filter(|(_, weight)| *weight != 0.0);
    html! {
        section.account id="account-together" {
            h3 { (words.combined) }
            @match Budget::of_all(scene.frame) {
                Some(budget) => (table(&budget, mass.received_kg, &html! {}, reader)),
                None => {
                    p { (language.labels().received) ": " (tenths(mass.received_kg.value, reader)) "\u{a0}\u{b1}\u{a0}"
                        (tenths(mass.received_kg.u, reader)) "\u{a0}" (unit(reader)) }
                    p.doubt { (words.combined_widened) }
                }
            }
            table {
                caption { (words.weights) }
                tbody {
                    @for (witness, weight) in counted {
                        tr {
                            th scope="row" { (language.witness(witness.id)) }
                            td { (number(100.0 * weight, 0)) "\u{a0}%" }
                        }
                    }
                }
            }
            @if mass.weights.iter().any(|weight| *weight < 0.0) { p { (words.weight_below_nothing) } }
        }
    }
}

fn one(published: &Published, scene: Scene<'_>, witness: &Witness, reader: &Reader) -> Markup {
    let (language, words) = (reader.language, reader.language.page());
    let validity = match witness.validity {
        Validity::Good => None,
        Validity::Doubtful(reason) => Some(format!("{}: {}", language.labels().doubtful, language.reason(reason))),
        Validity::Lost(reason) => Some(format!("{}: {}", language.labels().not_used, language.reason(reason))),
    };
    html! {
        section.account id={ "account-" (class(witness.id)) } {
            h3 { (language.witness(witness.id)) }
            @if let Some(said) = validity { p.doubt { (said) } }
            @if let Some(mass) = witness.received_kg { (budget(scene, witness, mass, reader)) }
            h4 { (words.readings) }
            div.scroll tabindex="0" role="region" aria-label={ (language.witness(witness.id)) ", " (words.readings) } {
                table {
                    thead { tr { @for head in words.reading_columns { th scope="col" { (head) } } } }
                    tbody { @for signal in of_witness(published, witness.id) { (reading(published, scene, signal, reader)) } }
                }
            }
        }
    }
}

fn class(id: WitnessId) -> &'static str {
    match id {
        WitnessId::Flow => "flow",
        WitnessId::Scale => "scale",
        WitnessId::Tank => "tank",
    }
}

/// A mass in the reader's unit, to the tenth.
fn tenths(kg: f64, reader: &Reader) -> String {
    number(reader.measures.convert(Shown::Mass, kg), 1)
}

/// The reader's unit of mass.
fn unit(reader: &Reader) -> &'static str {
    reader.language.unit(reader.measures.unit_word(Shown::Mass))
}

/// The budget of a mass, and what it is off the combined one by.
fn budget(scene: Scene<'_>, witness: &Witness, mass: Estimate, reader: &Reader) -> Markup {
    let residual =
        scene.frame.together.filter(|_| witness.validity.is_credible()).map(|t| mass.value - t.received_kg.value);
    let last = html! {
        @if let Some(kg) = residual {
            tr {
                th scope="row" { (reader.language.page().residual) }
                td { (tenths(kg, reader)) } td { (number(kg / mass.u, 1)) "\u{a0}u" }
            }
        }
    };
    table(&Budget::of(witness.budget.clone()), mass, &last, reader)
}

/// Contributions, the largest first, and what they make together; further rows below.
fn table(budget: &Budget, mass: Estimate, last: &Markup, reader: &Reader) -> Markup {
    let (labels, words) = (reader.language.labels(), reader.language.page());
    let mut parts = budget.lines.clone();
    parts.sort_by(|a, b| b.kg.abs().total_cmp(&a.kg.abs()));
    let share = |kg: f64| number(100.0 * kg * kg / (mass.u * mass.u).max(f64::MIN_POSITIVE), 0) + "\u{a0}%";
    let degrees = if budget.degrees.is_finite() { number(budget.degrees.floor(), 0) } else { "\u{221e}".to_owned() };
    html! {
        table {
            caption { (labels.received) ": " (tenths(mass.value, reader)) "\u{a0}" (unit(reader)) }
            thead { tr { th scope="col" { (labels.budgets) } th scope="col" { (unit(reader)) } th scope="col" { (words.share) } } }
            tbody {
                @for part in &parts {
                    tr {
                        th scope="row" { (reader.language.source(part.source)) }
                        td { (tenths(part.kg.abs(), reader)) } td { (share(part.kg)) }
                    }
                }
                tr { th scope="row" { b { (labels.budget_of) } } td { b { (tenths(mass.u, reader)) } } td { } }
                tr { th scope="row" { (words.expanded) } td { "\u{b1}\u{a0}" (tenths(COVERAGE * mass.u, reader)) } td { } }
                tr { th scope="row" { (labels.degrees) } td { (degrees) } td { } }
                (last)
            }
        }
    }
}

/// Signals that a mass is made of, by index.
fn of_witness(published: &Published, id: WitnessId) -> Vec<usize> {
    use SignalKind as K;
    let serves = |kind: SignalKind| match id {
        WitnessId::Flow => matches!(
            kind,
            K::FlowMassRate
                | K::FlowVolumeRate
                | K::FlowMassTotal
                | K::FlowVolumeTotal
                | K::LineDensity
                | K::LineTemperature
        ),
        WitnessId::Scale => matches!(kind, K::Scale | K::PadPressure | K::PadGasTemperature),
        WitnessId::Tank => matches!(
            kind,
            K::Level
                | K::LevelPressure
                | K::TankPressure
                | K::TankTemperature
                | K::DrawOff
                | K::LineDensity
                | K::LineTemperature
        ),
    };
    let signals = published.settings.signals.iter().enumerate();
    signals.filter(|(_, signal)| serves(signal.kind)).map(|(index, _)| index).collect()
}

/// One line: what it says, where that was read, in which words, and how the polling of its device does.
fn reading(published: &Published, scene: Scene<'_>, index: usize, reader: &Reader) -> Markup {
    let (language, words) = (reader.language, reader.language.page());
    let Some(setup) = published.settings.signals.get(index) else { return html! {} };
    let device = usize::from(setup.device);
    let reading = published.frame.readings.get(index);
    let place = published.facts.places.get(index);
    let value = reading.filter(|r| r.validity.is_credible()).and_then(|r| r.value_si);
    let value = value.map(|si| reader.measures.of_register(place.map_or("", |p| p.unit), si));
    let said = match reading.map(|r| r.validity) {
        Some(Validity::Doubtful(reason) | Validity::Lost(reason)) => language.reason(reason),
        _ => String::new(),
    };
    let age = reading.and_then(|r| r.read_at).map(|at| number(scene.frame.at.since_s(at), 1) + "\u{a0}s");
    let raw = place.and_then(|p| raw_words(p, published.wire.get(device).map_or(&[], |w| w.as_slice())));
    html! {
        tr {
            th scope="row" { (setup.name) }
            td { (value.map_or_else(|| "\u{2013}".to_owned(), |(v, unit)| significant(v) + "\u{a0}" + language.unit(unit))) " " (said) }
            td { (age.unwrap_or_default()) }
            td { (published.devices.get(device).map_or("", |d| d.name.as_str())) }
            td { @if let Some(p) = place { (words.function) " " (p.function) ", " (words.address) " " (p.address) ", " (p.form) } }
            td.words { (raw.unwrap_or_else(|| "\u{2013}".to_owned())) }
            td { (published.devices.get(device).map_or_else(String::new, latency)) }
        }
    }
}

/// Six digits, as many as an instrument's register means.
fn significant(value: f64) -> String {
    let whole = if value.abs() >= 1.0 { value.abs().log10().floor() as usize + 1 } else { 1 };
    number(value, 6usize.saturating_sub(whole))
}

/// The register's own words, in hexadecimal.
fn raw_words(place: &PlaceSaid, blocks: &[Block]) -> Option<String> {
    let holds = |block: &&Block| {
        let words = block.words.as_ref().map_or(0, Vec::len);
        block.function == place.function
            && block.address <= place.address
            && usize::from(place.address - block.address) + usize::from(place.count) <= words
    };
    let block = blocks.iter().find(holds)?;
    let from = usize::from(place.address - block.address);
    let words = block.words.as_ref().ok()?.get(from..from + usize::from(place.count))?;
    Some(words.iter().map(|word| format!("{word:04X}")).collect::<Vec<_>>().join(" "))
}

/// Request to reply in ms: median, 99 %, maximum.
fn latency(device: &DeviceStats) -> String {
    #[expect(clippy::cast_precision_loss, reason = "microseconds below a minute")]
    let ms = device.latency_us.map(|us| number(us as f64 / 1000.0, 1));
    ms.join(" / ") + "\u{a0}ms"
}

/// What the overlay on the plot says to those who cannot see that it is one, and the fold that it opens.
pub(super) fn fold(words: &PageWords) -> Markup {
    html! {
        details #account {
            summary { (words.account) }
            div #accounts {}
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 0x436D = 17261, 0x0000: the words of 237.0 as IEEE 754 single (IEEE 754-2019, 3.4), third and fourth of a block.
    #[test]
    fn a_registers_own_words_are_found_in_its_block() {
        let place = PlaceSaid { function: 3, address: 102, count: 2, form: "f32 ABCD".into(), unit: "kg" };
        let block = |function, address| Block { function, address, words: Ok(vec![1, 2, 0x436D, 0]) };
        let blocks = [block(4, 100), block(3, 101), block(3, 100)];
        assert_eq!(raw_words(&place, &blocks[..1]), None, "another function");
        assert_eq!(raw_words(&place, &blocks[1..2]).as_deref(), Some("0002 436D"));
        assert_eq!(raw_words(&place, &blocks[2..]).as_deref(), Some("436D 0000"));
        let refused = Block { words: Err(2), ..block(3, 100) };
        assert_eq!(raw_words(&place, &[refused]), None);
        assert_eq!(significant(26_410.0), "26\u{202f}410.0");
        assert_eq!(significant(5.21), "5.21000");
        assert_eq!(significant(0.0), "0.00000");
    }
}
