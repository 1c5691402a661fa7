//! How a hose under pressure pushes the trailer on its scale.
//!
//! A hose that bends from the trailer to a fixed pipe straightens as its pressure rises and lifts or presses the trailer in
//! proportion. While the pad is brought up nothing leaves the trailer, so what its reading changes by, less the gas that has come
//! in, is the hose. It is fitted then: a straight line of reading against pressure by Bayesian linear regression (Gelman et
//! al. 2013, ch. 14), with nothing expected and what hoses do as prior. What is fitted serves the transfer: the pad changes,
//! and at the end it is let off.

use super::input::CarriedHose;
use super::settings::SignalSetup;

/// What a hose presses or lifts, kg/Pa (standard uncertainty of the prior; assumption: some 20 kg at 100 kPa, either way).
pub const PRIOR_KG_PER_PA: f64 = 2e-4;
/// Fewer readings, and less of a rise, Pa, tell nothing.
const FEWEST: f64 = 30.0;
/// See above.
const RISE_PA: f64 = 20_000.0;
/// Readings that scatter about the line by more variance than this many times their noise were disturbed: people on the deck.
const DISTURBED: f64 = 2.0;

/// Further off than this it is another trailer, or the tractor that left, kg (assumption).
const OTHER_KG: f64 = 500.0;

/// Sums of readings (less the gas) against pad pressure.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Hose {
    n: f64,
    pa: f64,
    kg: f64,
    pa2: f64,
    pa_kg: f64,
    kg2: f64,
    lowest_pa: f64,
    highest_pa: f64,
    /// The first reading and pressure: sums are about them.
    first: Option<(f64, f64)>,
    carried: Option<CarriedHose>,
}

/// What it does.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reaction {
    /// kg that the scale shows more for each Pa.
    pub kg_per_pa: f64,
    /// Its standard uncertainty.
    pub u_kg_per_pa: f64,
}

impl Hose {
    /// As another segment fitted it.
    #[must_use]
    pub fn carried(carried: Option<CarriedHose>) -> Hose {
        Hose { carried, ..Hose::default() }
    }

    /// A reading of the scale less the gas on the trailer, at a pad pressure.
    pub fn take(&mut self, pad_pa: f64, scale_kg: f64) {
        if self.first.is_some_and(|(_, first_kg)| (scale_kg - first_kg).abs() > OTHER_KG) {
            *self = Hose { carried: self.carried, ..Hose::default() };
        }
        let (first_pa, first_kg) = *self.first.get_or_insert((pad_pa, scale_kg));
        let (pa, kg) = (pad_pa - first_pa, scale_kg - first_kg);
        (self.lowest_pa, self.highest_pa) = (self.lowest_pa.min(pa), self.highest_pa.max(pa));
        self.n += 1.0;
        self.pa += pa;
        self.kg += kg;
        self.pa2 += pa * pa;
        self.pa_kg += pa * kg;
        self.kg2 += kg * kg;
    }

    /// What has been found.
    #[must_use]
    pub fn reaction(&self, scale: &SignalSetup, period_s: f64) -> Reaction {
        let unknown = Reaction { kg_per_pa: 0.0, u_kg_per_pa: PRIOR_KG_PER_PA };
        if self.n < FEWEST || self.highest_pa - self.lowest_pa < RISE_PA {
            let known = self.carried;
            return known.map_or(unknown, |c| Reaction { kg_per_pa: c.kg_per_pa, u_kg_per_pa: c.u_kg_per_pa });
        }
        let white2 = scale.noise * scale.noise + scale.division * scale.division / 12.0;
        let slow2 = scale.slow_noise * scale.slow_noise;
        let spread = self.pa2 - self.pa * self.pa / self.n;
        let both = self.pa_kg - self.pa * self.kg / self.n;
        // Noise with a memory counts for the readings that it lasts through (Bartlett 1946).
        let noise2 = white2 + slow2 * (2.0 * scale.slow_noise_s / period_s).max(1.0);
        let precision = 1.0 / (PRIOR_KG_PER_PA * PRIOR_KG_PER_PA) + spread / noise2;
        let kg_per_pa = both / noise2 / precision;
        let scatter2 = (self.kg2 - self.kg * self.kg / self.n - both * both / spread) / (self.n - 2.0);
        if scatter2 > DISTURBED * (white2 + slow2) {
            return unknown;
        }
        Reaction { kg_per_pa, u_kg_per_pa: 1.0 / precision.sqrt() }
    }
}
