//! What was received against the weigh ticket.
//!
//! What left the trailer is in the tank or in the line. So received + in the line - ticket is the difference, and
//!
//!   En = difference / sqrt(U1^2 + U2^2),   U = 2 u
//!
//! is the En score of ISO 13528 (as the NIST Dataplot reference manual states it under ISO 13528 EN SCORE), which at
//! U = 2 u is 1 where the difference is twice its standard uncertainty. What the line holds is in the witnesses too
//! (scale and meter have taken it off): its part of the uncertainty is counted once, with its sign. The ticket was
//! weighed elsewhere and shares no error with them; where it was the same scale, U is too large.

use super::account::{AgainstTicket, Compared, ComparedWitness, Figure, Ticket, WhyNot};
use crate::engine::delivery::ticket_kg;
use crate::engine::frame::{Frame, Source};
use crate::engine::settings::{DeliverySetup, LineStart, Settings, SignalKind};
use crate::engine::witness::density;
use crate::recording::json::form_json;
use crate::units::Celsius;

/// A ticket's net that exceeds the planned amount by more than this many of its standard uncertainties is a load of
/// which only a part is meant for this tank. The delivery file's own check takes the same bound for the other side.
const PART_U: f64 = 3.0;

/// Standard uncertainties in an expanded one.
const COVERAGE: f64 = 2.0;

/// The ticket, corrected.
pub(super) fn ticket(setup: &DeliverySetup, settings: &Settings) -> Ticket {
    let corrected_kg = Figure { value: ticket_kg(setup, &settings.gas), u: setup.ticket_u.0 };
    Ticket { net_kg: setup.ticket_net.0, corrected_kg }
}

/// Compares what the frame at the close says with the ticket.
pub(super) fn compare(setup: &DeliverySetup, settings: &Settings, frame: &Frame, query_above_en: f64) -> AgainstTicket {
    let Some(together) = frame.together else { return AgainstTicket::NotCompared(WhyNot::NothingReceived) };
    if setup.ticket_net.0 > setup.planned.0 + PART_U * setup.ticket_u.0 {
        return AgainstTicket::NotCompared(WhyNot::PartOfTheLoad);
    }
    let Some(line) = line(setup, settings, frame) else { return AgainstTicket::NotCompared(WhyNot::NoDensity) };
    let ticket = ticket(setup, settings).corrected_kg;
    let against = |received: Figure, weights: [f64; 3]| {
        let out = with_line(frame, received, weights, &line);
        let u = (out.u * out.u + ticket.u * ticket.u).sqrt();
        (Figure { value: out.value - ticket.value, u }, en(out, ticket))
    };
    let alone = [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]];
    let by_witness = frame.witnesses.iter().zip(alone).filter(|(w, _)| w.validity.is_credible());
    let by_witness = by_witness.filter_map(|(w, weights)| {
        let (difference_kg, en) = against(w.received_kg?.into(), weights);
        Some(ComparedWitness { witness: form_json(&w.id), difference_kg, en })
    });
    let (difference_kg, en) = against(together.received_kg.into(), together.weights);
    AgainstTicket::Compared(Compared {
        in_line_kg: line.holds,
        difference_kg,
        en,
        query_above_en,
        query: en.abs() > query_above_en,
        by_witness: by_witness.collect(),
    })
}

/// En score of a result against a reference, both with standard uncertainties; they share no error.
pub(super) fn en(result: Figure, reference: Figure) -> f64 {
    let (result_u, reference_u) = (COVERAGE * result.u, COVERAGE * reference.u);
    (result.value - reference.value) / (result_u * result_u + reference_u * reference_u).sqrt()
}

/// What the line holds beyond what it held at the start.
struct Line {
    holds: Figure,
    /// Standard uncertainties of the part before and after the meter, kg.
    parts_u: [(Source, f64); 2],
}

fn line(setup: &DeliverySetup, settings: &Settings, frame: &Frame) -> Option<Line> {
    let line = &settings.line;
    let density = match line.starts {
        LineStart::Full => 0.0,
        LineStart::Empty => {
            let thermometer = settings.signals.iter().position(|s| s.kind == SignalKind::LineTemperature);
            let reading = thermometer.and_then(|at| frame.readings.get(at)).filter(|r| r.validity.is_credible());
            let measured = reading.and_then(|r| r.value_si).map(Celsius);
            density::actual(&setup.product, measured.unwrap_or(setup.product.load_temperature))?.density.0
        }
    };
    let (upstream_kg, downstream_kg) = (line.upstream.0 * density, line.downstream.0 * density);
    let (upstream_u, downstream_u) = (upstream_kg * line.volume_u, downstream_kg * line.volume_u);
    let u = (upstream_u * upstream_u + downstream_u * downstream_u).sqrt();
    Some(Line {
        holds: Figure { value: upstream_kg + downstream_kg, u },
        parts_u: [(Source::LineUpstream, upstream_u), (Source::LineDownstream, downstream_u)],
    })
}

/// Received and in the line. The witnesses' budgets name the line's parts with their sign (GUM F.1.2.3): for a scale,
/// which weighs what left the trailer, they cancel.
fn with_line(frame: &Frame, received: Figure, weights: [f64; 3], line: &Line) -> Figure {
    let mut variance = received.u * received.u;
    for (source, line_u) in line.parts_u {
        let shared: f64 = frame
            .witnesses
            .iter()
            .zip(weights)
            .map(|(w, weight)| weight * w.budget.iter().filter(|c| c.source == source).map(|c| c.kg).sum::<f64>())
            .sum();
        variance += 2.0 * shared * line_u + line_u * line_u;
    }
    Figure { value: received.value + line.holds.value, u: variance.max(0.0).sqrt() }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Gear diameters of the NIST/SEMATECH e-Handbook (GEAR.DAT), ten batches of ten.
    #[rustfmt::skip]
    const GEARS: [f64; 100] = [
        1.006, 0.996, 0.998, 1.000, 0.992, 0.993, 1.002, 0.999, 0.994, 1.000,
        0.998, 1.006, 1.000, 1.002, 0.997, 0.998, 0.996, 1.000, 1.006, 0.988,
        0.991, 0.987, 0.997, 0.999, 0.995, 0.994, 1.000, 0.999, 0.996, 0.996,
        1.005, 1.002, 0.994, 1.000, 0.995, 0.994, 0.998, 0.996, 1.002, 0.996,
        0.998, 0.998, 0.982, 0.990, 1.002, 0.984, 0.996, 0.993, 0.980, 0.996,
        1.009, 1.013, 1.009, 0.997, 0.988, 1.002, 0.995, 0.998, 0.981, 0.996,
        0.990, 1.004, 0.996, 1.001, 0.998, 1.000, 1.018, 1.010, 0.996, 1.002,
        0.998, 1.000, 1.006, 1.000, 1.002, 0.996, 0.998, 0.996, 1.002, 1.006,
        1.002, 0.998, 0.996, 0.995, 0.996, 1.004, 1.004, 0.998, 0.999, 0.991,
        0.991, 0.995, 0.984, 0.994, 0.997, 0.997, 0.991, 0.998, 1.004, 0.997,
    ];

    fn deviation(values: &[f64]) -> f64 {
        let count = f64::from(u32::try_from(values.len()).expect("few"));
        let mean = values.iter().sum::<f64>() / count;
        (values.iter().map(|v| (v - mean) * (v - mean)).sum::<f64>() / (count - 1.0)).sqrt()
    }

    /// Expected: the first lines of the worked example of the NIST Dataplot reference manual, ISO 13528 EN SCORE: against
    /// the reference 1 with twice the deviation of all as its expanded uncertainty, each laboratory (batch) with twice
    /// its own.
    #[test]
    fn the_published_worked_example_of_en() {
        let reference = Figure { value: 1.0, u: deviation(&GEARS) };
        let u = deviation(&GEARS[..10]);
        assert!((2.0 * u - 0.009).abs() < 5e-4, "the example's ULAB");
        for (value, printed) in [(1.006, 0.393), (0.996, -0.262), (0.998, -0.131), (1.000, 0.0)] {
            let en = en(Figure { value, u }, reference);
            assert!((en - printed).abs() < 5e-4, "{value}: {en} against {printed}");
        }
    }

    /// By hand: 20 038 +- 12 kg (u) against 20 060 +- 16 kg: 22 kg less, expanded 2 x 20 kg.
    #[test]
    fn en_by_hand() {
        let en = en(Figure { value: 20_038.0, u: 12.0 }, Figure { value: 20_060.0, u: 16.0 });
        assert!((en - -0.55).abs() < 1e-12, "{en}");
    }
}
