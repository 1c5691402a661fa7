//! One value of one instrument: what it is made of, and how it turns what is so into what is shown.

use super::SCAN_S;
use crate::noise::{Chance, DeadBand, Noise, Source};
use std::fmt;

/// What a channel is made of. Sizes are one standard deviation each, in the value's own SI unit, but where said.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ChannelSetup {
    /// Error of the zero, drawn once.
    pub zero: f64,
    /// Relative error of the gain, drawn once, 1.
    pub gain: f64,
    /// Random walk, per square root of an hour.
    pub drift_per_sqrt_h: f64,
    /// Two noises of any kind, added to the damped value.
    pub noise: [Noise; 2],
    /// White noise in proportion to the value, 1.
    pub relative_noise: f64,
    /// Time constant of the damping, s; 0: none.
    pub lag_s: f64,
    /// The value is renewed this often, s, and repeated meanwhile.
    pub sample_s: f64,
    /// One division (not a standard deviation); 0: none.
    pub resolution: f64,
    /// The value is repeated until it has moved by more (not a standard deviation); 0: none.
    pub dead_band: f64,
    /// Ends of the range: what lies beyond is shown as the end.
    pub range: (f64, f64),
}

impl ChannelSetup {
    /// Shows what is so.
    pub const PERFECT: ChannelSetup = ChannelSetup {
        zero: 0.0,
        gain: 0.0,
        drift_per_sqrt_h: 0.0,
        noise: [Noise::Quiet; 2],
        relative_noise: 0.0,
        lag_s: 0.0,
        sample_s: SCAN_S,
        resolution: 0.0,
        dead_band: 0.0,
        range: (f64::NEG_INFINITY, f64::INFINITY),
    };

    /// A zero of its own and white noise.
    #[must_use]
    pub fn plain(zero: f64, sigma: f64) -> ChannelSetup {
        ChannelSetup { zero, noise: [Noise::White { sigma }, Noise::Quiet], ..ChannelSetup::PERFECT }
    }
}

impl fmt::Display for ChannelSetup {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let ChannelSetup { zero, gain, drift_per_sqrt_h: drift, noise, relative_noise: relative, lag_s, .. } = self;
        write!(f, "zero {zero}, gain {gain}, drift {drift} per sqrt(h), noise {} and {}, ", noise[0], noise[1])?;
        let ChannelSetup { sample_s, resolution, dead_band, range: (low, high), .. } = self;
        write!(f, "relative noise {relative}, lag {lag_s} s, renewed every {sample_s} s, division {resolution}, ")?;
        write!(f, "dead-band {dead_band}, range {low} to {high}")
    }
}

/// What faults do to a channel at one moment.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Disorder {
    /// Added.
    pub zero: f64,
    /// Added to the gain.
    pub gain: f64,
    /// Measured instead of what is so.
    pub instead: Option<f64>,
    /// Shown whatever is measured.
    pub forced: Option<f64>,
    /// The last value is repeated.
    pub held: bool,
}

impl Disorder {
    pub const NONE: Disorder = Disorder { zero: 0.0, gain: 0.0, instead: None, forced: None, held: false };
}

#[derive(Debug, Clone)]
pub(super) struct Channel {
    setup: ChannelSetup,
    chance: Chance,
    noise: [Source; 2],
    pub zero: f64,
    pub gain: f64,
    pub drift: f64,
    /// Spread of one scan's step of the drift.
    drift_step: f64,
    /// Part of its distance that the damping keeps over one scan, 1.
    kept: f64,
    damped: Option<f64>,
    band: DeadBand,
    until_renewed_s: f64,
    /// What is measured now, before division, dead-band and renewal.
    pub measured: f64,
    pub shown: f64,
}

impl Channel {
    /// `chance(0)`: what is drawn once, drift, and noise without memory; `chance(1)`, `chance(2)`: noise with one.
    pub fn new(setup: ChannelSetup, chance: impl Fn(usize) -> Chance) -> Channel {
        let mut own = chance(0);
        // Only what is there is drawn: an error more leaves the numbers of the others as they are.
        let mut once = |sigma: f64| if sigma == 0.0 { 0.0 } else { sigma * own.normal() };
        Channel {
            zero: once(setup.zero),
            gain: once(setup.gain),
            chance: own,
            noise: [Source::new(setup.noise[0], chance(2), SCAN_S), Source::new(setup.noise[1], chance(1), SCAN_S)],
            drift: 0.0,
            drift_step: setup.drift_per_sqrt_h * (SCAN_S / 3600.0).sqrt(),
            kept: if setup.lag_s > 0.0 { (-SCAN_S / setup.lag_s).exp() } else { 0.0 },
            damped: None,
            band: DeadBand::new(setup.dead_band),
            until_renewed_s: 0.0,
            measured: 0.0,
            shown: 0.0,
            setup,
        }
    }

    pub fn scan(&mut self, truth: f64, disorder: &Disorder) {
        let truth = disorder.instead.unwrap_or(truth);
        let damped = truth + (self.damped.unwrap_or(truth) - truth) * self.kept;
        self.damped = Some(damped);
        if self.drift_step > 0.0 {
            self.drift += self.drift_step * self.chance.normal();
        }
        let chance = &mut self.chance;
        let mut noise = self.noise[0].advance(chance) + self.noise[1].advance(chance);
        if self.setup.relative_noise > 0.0 {
            noise += self.setup.relative_noise * damped * self.chance.normal();
        }
        let value = damped * (1.0 + self.gain + disorder.gain) + self.zero + disorder.zero + self.drift + noise;
        // No `clamp`: a range that somebody wrote upside down must not panic.
        let value = disorder.forced.unwrap_or(value).max(self.setup.range.0).min(self.setup.range.1);
        self.measured = value;
        self.until_renewed_s -= SCAN_S;
        if self.until_renewed_s <= SCAN_S / 2.0 {
            self.until_renewed_s += self.setup.sample_s.max(SCAN_S);
            if !disorder.held {
                self.shown = self.divided(value);
            }
        }
    }

    fn divided(&mut self, value: f64) -> f64 {
        let value = if self.setup.dead_band > 0.0 { self.band.pass(value) } else { value };
        let division = self.setup.resolution;
        if division > 0.0 { (value / division).round() * division } else { value }
    }
}
