//! How much room is left below high-high when all of the load is in, by the most pessimistic credible source.
//!
//! margin = mass at high-high - contents - rest - run-on - line - blow-clear - 2.33 u - opening check - neighbours' rest.
//! Every credible gauge and every credible witness offers its own contents, every credible witness its own rest;
//! the worst pair counts, each with its own uncertainty. A witness that becomes lost stays in at its last value
//! plus the fastest credible rate. Nothing is dropped because the others outvote it.

use super::frame::{Estimate, Margin, MarginParts, Pessimist, WitnessId};
use crate::planted::{Bug, planted};

/// What a credible (or lately lost) source says is in the tank, or still to come.
#[derive(Debug, Clone, Copy)]
pub struct Claim<T> {
    /// Whose it is.
    pub by: T,
    /// Mass, kg.
    pub kg: Estimate,
}

/// All that the margin is made of, kg.
#[derive(Debug, Clone)]
pub struct Claims {
    /// Mass at high-high.
    pub at_high_high_kg: f64,
    /// Contents by each source; a witness's u is that of its received mass.
    pub contents: Vec<Claim<Pessimist>>,
    /// Rest of the load by each witness; `None`: nothing has moved, all of it.
    pub rest: Vec<Claim<Option<WitnessId>>>,
    /// Standard uncertainty of the load.
    pub loaded_u_kg: f64,
    /// Standard uncertainty of the opening contents.
    pub opening_u_kg: f64,
    /// Runs on while the valve closes.
    pub run_on_kg: f64,
    /// In the line.
    pub line_kg: f64,
    /// Pushed in by blowing clear.
    pub blow_clear_kg: f64,
    /// Opening-check term: z u of the opening level.
    pub opening_kg: f64,
    /// Quantile of the allowance (2.33: one in a hundred).
    pub z: f64,
    /// The independent switch has tripped.
    pub switch_tripped: bool,
    /// The most that other bays may still bring.
    pub neighbour_rest: Estimate,
    /// Standard uncertainty of the most that they have brought.
    pub neighbour_u_kg: f64,
    /// The part of that rest which silent ones may have brought by now: in the witnesses' contents already, but no
    /// gauge need have seen it.
    pub neighbour_moved_kg: f64,
}

impl Claims {
    /// Allowance for one pair. A witness that offers both contents and rest cancels: what it says came in is no
    /// longer to come, and the load's own uncertainty stays.
    fn allowance_kg(&self, contents: &Claim<Pessimist>, rest: &Claim<Option<WitnessId>>) -> f64 {
        let square = |u: f64| u * u;
        let own = match (contents.by, rest.by) {
            (Pessimist::Witness(a), Some(b)) if a == b => 0.0,
            _ => square(contents.kg.u) + square(rest.kg.u),
        };
        let opening = if matches!(contents.by, Pessimist::Witness(_)) { self.opening_u_kg } else { 0.0 };
        // What a neighbour brought and what it still may are by its own witnesses, which a gauge knows nothing of.
        let brought = if matches!(contents.by, Pessimist::Witness(_)) { self.neighbour_u_kg } else { 0.0 };
        let neighbour = square(brought) + square(self.neighbour_rest.u);
        self.z * (own + square(self.loaded_u_kg) + square(opening) + neighbour).sqrt()
    }

    fn need_kg(&self, contents: &Claim<Pessimist>, rest: &Claim<Option<WitnessId>>) -> f64 {
        contents.kg.value + rest.kg.value + self.allowance_kg(contents, rest) + self.neighbour_kg(contents)
    }

    /// What other bays may still bring beyond those contents.
    fn neighbour_kg(&self, contents: &Claim<Pessimist>) -> f64 {
        let moved_kg = if matches!(contents.by, Pessimist::Witness(_)) { self.neighbour_moved_kg } else { 0.0 };
        self.neighbour_rest.value - moved_kg
    }

    /// The margin by the worst pair.
    #[must_use]
    pub fn margin(&self) -> Margin {
        let pairs = self.contents.iter().flat_map(|c| self.rest.iter().map(move |r| (c, r)));
        let worst = pairs.max_by(|a, b| self.need_kg(a.0, a.1).total_cmp(&self.need_kg(b.0, b.1)));
        let Some((contents, rest)) = worst else { return Margin::Unknown };
        let parts = MarginParts {
            at_high_high_kg: self.at_high_high_kg,
            contents_kg: contents.kg.value,
            rest_kg: rest.kg.value,
            run_on_kg: self.run_on_kg,
            line_kg: self.line_kg,
            blow_clear_kg: self.blow_clear_kg,
            allowance_kg: self.allowance_kg(contents, rest),
            opening_kg: self.opening_kg,
            neighbour_kg: self.neighbour_kg(contents),
        };
        let kg = self.left_kg(self.need_kg(contents, rest));
        let by_witness_kg = [WitnessId::Flow, WitnessId::Scale, WitnessId::Tank].map(|id| self.by_witness_kg(id));
        if self.switch_tripped && !planted(Bug::SwitchOutvoted) {
            return Margin::Known {
                kg: kg.min(0.0),
                pessimist: Pessimist::LevelSwitch,
                rest_by: rest.by,
                parts,
                by_witness_kg,
            };
        }
        Margin::Known { kg, pessimist: contents.by, rest_by: rest.by, parts, by_witness_kg }
    }

    fn left_kg(&self, need_kg: f64) -> f64 {
        self.at_high_high_kg - need_kg - self.run_on_kg - self.line_kg - self.blow_clear_kg - self.opening_kg
    }

    fn by_witness_kg(&self, id: WitnessId) -> Option<f64> {
        let contents = self.contents.iter().find(|c| c.by == Pessimist::Witness(id))?;
        let rest = self.rest.iter().find(|r| r.by == Some(id))?;
        Some(self.left_kg(self.need_kg(contents, rest)))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn claims() -> Claims {
        let e = |value, u| Estimate { value, u };
        Claims {
            at_high_high_kg: 50_000.0,
            contents: vec![
                Claim { by: Pessimist::Gauge(3), kg: e(20_000.0, 30.0) },
                Claim { by: Pessimist::Witness(WitnessId::Flow), kg: e(20_400.0, 40.0) },
            ],
            rest: vec![
                Claim { by: Some(WitnessId::Flow), kg: e(9_000.0, 40.0) },
                Claim { by: Some(WitnessId::Scale), kg: e(9_300.0, 30.0) },
            ],
            loaded_u_kg: 20.0,
            opening_u_kg: 0.0,
            run_on_kg: 50.0,
            line_kg: 100.0,
            blow_clear_kg: 30.0,
            opening_kg: 200.0,
            z: 2.33,
            switch_tripped: false,
            neighbour_rest: Estimate::default(),
            neighbour_u_kg: 0.0,
            neighbour_moved_kg: 0.0,
        }
    }

    /// The largest contents and the largest rest count, whoever says so.
    #[test]
    fn the_worst_pair_counts() {
        let Margin::Known { kg, pessimist, rest_by, parts, by_witness_kg } = claims().margin() else {
            panic!("known");
        };
        assert_eq!((pessimist, rest_by), (Pessimist::Witness(WitnessId::Flow), Some(WitnessId::Scale)));
        let allowance = 2.33 * (40.0_f64 * 40.0 + 30.0 * 30.0 + 20.0 * 20.0).sqrt();
        assert!((parts.allowance_kg - allowance).abs() < 1e-9);
        assert!((kg - (50_000.0 - 20_400.0 - 9_300.0 - allowance - 380.0)).abs() < 1e-9);
        let flow_alone = 50_000.0 - 20_400.0 - 9_000.0 - 2.33 * 20.0 - 380.0;
        assert!((by_witness_kg[0].expect("flow") - flow_alone).abs() < 1e-9);
        assert_eq!(by_witness_kg[1], None);
    }

    #[test]
    fn a_tripped_switch_overrules() {
        let tripped = Claims { switch_tripped: true, ..claims() }.margin();
        assert!(matches!(tripped, Margin::Known { kg, pessimist: Pessimist::LevelSwitch, .. } if kg <= 0.0));
    }

    /// What a silent neighbour may have brought counts once: in a witness's contents or in the neighbour's rest.
    #[test]
    fn a_neighbours_load_counts_once() {
        let kg = |claims: Claims| match claims.margin() {
            Margin::Known { kg, parts, .. } => (kg, parts.neighbour_kg),
            Margin::Unknown => panic!("known"),
        };
        let shared = Claims { neighbour_rest: Estimate { value: 3_000.0, u: 0.0 }, ..claims() };
        let (alone, heard) = (kg(claims()), kg(shared.clone()));
        assert!((alone.0 - heard.0 - 3_000.0).abs() < 1e-9 && (heard.1 - 3_000.0).abs() < 1e-9);
        // 500 kg later: a witness's contents have grown by it, the gauge's have not.
        let mut silent = Claims { neighbour_moved_kg: 500.0, ..shared };
        silent.contents[1].kg.value += 500.0;
        let (silent_kg, to_come) = kg(silent.clone());
        assert!((silent_kg - heard.0).abs() < 1e-9 && (to_come - 2_500.0).abs() < 1e-9);
        silent.contents.remove(1);
        assert!((kg(silent).1 - 3_000.0).abs() < 1e-9);
    }

    #[test]
    fn with_nobody_left_it_is_unknown() {
        assert_eq!(Claims { contents: Vec::new(), ..claims() }.margin(), Margin::Unknown);
        assert_eq!(Claims { rest: Vec::new(), ..claims() }.margin(), Margin::Unknown);
    }
}
