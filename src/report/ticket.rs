//! What was received against the weigh ticket, over all legs of the delivery, and what is left on the trailer.
//!
//! What left the trailer is in the tanks or in the line. So received + in the line - ticket is the difference, and
//!
//!   En = difference / sqrt(U1^2 + U2^2),   U = 2 u
//!
//! is the En score of ISO 13528 (as the NIST Dataplot reference manual states it under ISO 13528 EN SCORE), which at
//! U = 2 u is 1 where the difference is twice its standard uncertainty. What the line holds is in the witnesses too
//! (scale and meter have taken it off): its part of the uncertainty is counted once, with its sign. The ticket was
//! weighed elsewhere and shares no error with them; where it was the same scale, U is too large.
//!
//! Ticket - received - in the line is what is left on the trailer, as far as nothing was lost on the way: no figure tells
//! a heel from a loss.

use super::account::{AgainstTicket, Compared, ComparedWitness, Figure, LeftByWitness, LeftOnBoard, Ticket, WhyNot};
use super::legs::{Share, sum};
use crate::engine::delivery::ticket_kg;
use crate::engine::settings::{DeliverySetup, Settings};

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

/// Whether the legs so far were meant to take all of the ticket's load.
fn is_part(setup: &DeliverySetup, shares: &[Share]) -> bool {
    let planned_kg: f64 = shares.iter().map(|share| share.planned_kg).sum();
    setup.ticket_net.0 > planned_kg + PART_U * setup.ticket_u.0
}

/// Compares what all legs gave with the ticket; `shares`: every leg from the first, or why they are not all known.
pub(super) fn compare(
    setup: &DeliverySetup,
    ticket: Figure,
    shares: Result<&[Share], WhyNot>,
    query_above_en: f64,
) -> (AgainstTicket, Option<LeftOnBoard>) {
    let not = |why| (AgainstTicket::NotCompared(why), None);
    let shares = match shares {
        Ok(shares) => shares,
        Err(why) => return not(why),
    };
    if shares.iter().any(|share| share.together.is_none()) {
        return not(WhyNot::NothingReceived);
    }
    let Some(in_line_kg) = sum(shares, Share::in_line) else { return not(WhyNot::NoDensity) };
    let Some(out) = sum(shares, Share::out) else { return not(WhyNot::NoDensity) };
    let alone = |at: usize| sum(shares, |share| share.out_by(at));
    let against = |out: Figure| Figure { value: out.value - ticket.value, u: out.u.hypot(ticket.u) };
    let left = |out: Figure| Figure { value: ticket.value - out.value, u: out.u.hypot(ticket.u) };
    let witnesses = shares.last().map_or(&[][..], |share| &share.witnesses);
    let by_witness: Vec<_> =
        witnesses.iter().enumerate().filter_map(|(at, w)| Some((w.id.clone(), alone(at)?))).collect();
    let left_on_board = LeftOnBoard {
        together_kg: left(out),
        by_witness: by_witness
            .iter()
            .map(|(witness, out)| LeftByWitness { witness: witness.clone(), kg: left(*out) })
            .collect(),
    };
    if is_part(setup, shares) {
        return (AgainstTicket::NotCompared(WhyNot::PartOfTheLoad), Some(left_on_board));
    }
    let of_witness = |(witness, out): (serde_json::Value, Figure)| ComparedWitness {
        witness,
        difference_kg: against(out),
        en: en(out, ticket),
    };
    let en_all = en(out, ticket);
    let compared = Compared {
        in_line_kg,
        difference_kg: against(out),
        en: en_all,
        query_above_en,
        query: en_all.abs() > query_above_en,
        by_witness: by_witness.into_iter().map(of_witness).collect(),
    };
    (AgainstTicket::Compared(compared), Some(left_on_board))
}

/// En score of a result against a reference, both with standard uncertainties; they share no error.
pub(super) fn en(result: Figure, reference: Figure) -> f64 {
    let (result_u, reference_u) = (COVERAGE * result.u, COVERAGE * reference.u);
    (result.value - reference.value) / (result_u * result_u + reference_u * reference_u).sqrt()
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
