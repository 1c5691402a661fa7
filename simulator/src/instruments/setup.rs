//! How far off a bay's instruments may be: the nominal ones, and any that chance draws.

use super::channel::ChannelSetup;
use super::{INSTRUMENTS, Instrument};
use crate::noise::{Chance, Noise, VisitSetup};
use std::fmt;
use std::ops::{Index, IndexMut};

/// All instruments of a bay. `setup[Instrument::Scale]` is the scale's channel.
#[derive(Debug, Clone, PartialEq)]
pub struct InstrumentSetup {
    channels: [ChannelSetup; INSTRUMENTS],
    /// People on the deck, kg. Whoever is there at the start leaves: the other sign.
    pub people: VisitSetup,
    /// Foam under the level gauges, m.
    pub foam: VisitSetup,
    /// Part of the foam that the first and the second level gauge see, 1: a radar all, a float none.
    pub foam_share: [f64; 2],
    /// The hose pushes the trailer down (or up, negative) in proportion to pad pressure, kg/Pa.
    pub hose_kg_per_pa: f64,
    /// Rain that stays on the trailer, from the start on.
    pub rain_kg_per_h: f64,
    /// Rain runs off from here on.
    pub rain_most_kg: f64,
    /// Level at which the independent high-level switch trips (not a standard deviation).
    pub high_switch_m: f64,
    /// Seed of all.
    pub seed: u64,
}

impl InstrumentSetup {
    /// Well-kept instruments on a quiet day: a mass meter of 0.15 %, a truck scale with 20 kg division, a level gauge
    /// of about a millimetre. Nobody is on the deck and nothing foams.
    #[must_use]
    pub fn nominal(high_switch_m: f64, seed: u64) -> InstrumentSetup {
        use Instrument as I;
        let mut setup = InstrumentSetup::perfect(high_switch_m, seed);
        setup[I::Meter] = ChannelSetup { gain: 0.0015, relative_noise: 0.005, ..ChannelSetup::PERFECT };
        setup[I::Scale] = ChannelSetup {
            gain: 0.0005,
            drift_per_sqrt_h: 10.0,
            noise: [Noise::White { sigma: 6.0 }, Noise::Wandering { sigma: 5.0, correlation_s: 20.0 }],
            resolution: 20.0,
            ..ChannelSetup::PERFECT
        };
        let gauge = ChannelSetup {
            noise: [Noise::White { sigma: 0.0012 }, Noise::Wandering { sigma: 0.0015, correlation_s: 15.0 }],
            lag_s: 5.0,
            ..ChannelSetup::PERFECT
        };
        (setup[I::Level], setup[I::SecondLevel]) = (gauge, gauge);
        setup[I::LineDensity] = ChannelSetup::plain(0.5, 0.2);
        for thermometer in [I::LineTemperature, I::TankTemperature, I::PadGasTemperature] {
            setup[thermometer] = ChannelSetup { lag_s: 20.0, ..ChannelSetup::plain(0.3, 0.05) };
        }
        (setup[I::Pad], setup[I::Supply]) = (ChannelSetup::plain(300.0, 150.0), ChannelSetup::plain(300.0, 150.0));
        let small = ChannelSetup::plain(30.0, 15.0);
        (setup[I::TankPressure], setup[I::LevelPressure]) = (small, small);
        setup
    }

    /// The same on a busy day: people step on the deck and off (70 to 100 kg for 30 to 180 s), one may stand there from
    /// the start, and foam raises the gauge (5 to 25 mm for 10 to 60 s). Rates are our own choice: each about hourly.
    #[must_use]
    pub fn busy(high_switch_m: f64, seed: u64) -> InstrumentSetup {
        let at_start = Chance::new(seed, 301).uniform() < 0.25;
        let people = VisitSetup { per_h: 1.5, size: (70.0, 100.0), stay_s: (30.0, 180.0), at_start };
        let foam = VisitSetup { per_h: 2.0, size: (0.005, 0.025), stay_s: (10.0, 60.0), at_start: false };
        InstrumentSetup { people, foam, ..InstrumentSetup::nominal(high_switch_m, seed) }
    }

    /// Any works' instruments: each half to twice as good as nominal, some with heavy tails, slow renewal or a
    /// dead-band; people and foam up to four times as often as on a busy day, hose reaction, rain.
    #[must_use]
    pub fn any(high_switch_m: f64, seed: u64) -> InstrumentSetup {
        let mut chance = Chance::new(seed, 300);
        let mut setup = InstrumentSetup::busy(high_switch_m, seed);
        for channel in &mut setup.channels {
            let worse = 2f64.powf(chance.between((-1.0, 1.0)));
            channel.zero *= worse;
            channel.gain *= worse;
            channel.drift_per_sqrt_h *= worse;
            channel.relative_noise *= worse;
            channel.noise = channel.noise.map(|noise| noise.times(worse));
            channel.lag_s *= 2f64.powf(chance.between((-1.0, 1.0)));
            if let (Noise::White { sigma }, true) = (channel.noise[0], chance.uniform() < 0.25) {
                channel.noise[0] = Noise::HeavyTailed { sigma, freedom: chance.between((4.5, 10.0)) };
            }
            if chance.uniform() < 0.25 {
                channel.sample_s = chance.between((1.0, 4.0)).round();
            }
            if chance.uniform() < 0.125 {
                channel.dead_band = 2.0 * channel.noise[0].sigma();
            }
        }
        setup[Instrument::Scale].resolution = if chance.uniform() < 0.5 { 10.0 } else { 20.0 };
        setup.people.per_h *= chance.between((0.0, 4.0));
        setup.foam.per_h *= chance.between((0.0, 4.0));
        // Up to some 20 kg at 110 kPa, either way: how the hose hangs decides.
        setup.hose_kg_per_pa = chance.between((-2e-4, 2e-4));
        if chance.uniform() < 0.2 {
            // A millimetre an hour on the plan of a trailer of some 25 m2, half of it staying, is about 12 kg/h.
            (setup.rain_kg_per_h, setup.rain_most_kg) = (chance.between((2.0, 25.0)), 30.0);
        }
        setup
    }

    /// Instruments that show what is so.
    #[must_use]
    pub fn perfect(high_switch_m: f64, seed: u64) -> InstrumentSetup {
        let flag = ChannelSetup { range: (0.0, 1.0), ..ChannelSetup::PERFECT };
        let channels = Instrument::ALL.map(|i| if i.is_flag() { flag } else { ChannelSetup::PERFECT });
        InstrumentSetup {
            channels,
            people: VisitSetup::NEVER,
            foam: VisitSetup::NEVER,
            foam_share: [1.0, 0.0],
            hose_kg_per_pa: 0.0,
            rain_kg_per_h: 0.0,
            rain_most_kg: 0.0,
            high_switch_m,
            seed,
        }
    }
}

impl Index<Instrument> for InstrumentSetup {
    type Output = ChannelSetup;

    fn index(&self, instrument: Instrument) -> &ChannelSetup {
        &self.channels[instrument as usize]
    }
}

impl IndexMut<Instrument> for InstrumentSetup {
    fn index_mut(&mut self, instrument: Instrument) -> &mut ChannelSetup {
        &mut self.channels[instrument as usize]
    }
}

impl fmt::Display for InstrumentSetup {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let InstrumentSetup { people, foam, foam_share, hose_kg_per_pa, high_switch_m, seed, .. } = self;
        write!(f, "seed {seed}; high-level switch at {high_switch_m} m; people on the deck, kg: {people}; ")?;
        write!(f, "foam, m: {foam}, seen {} and {}; hose {hose_kg_per_pa} kg/Pa; ", foam_share[0], foam_share[1])?;
        write!(f, "rain {} kg/h to {} kg", self.rain_kg_per_h, self.rain_most_kg)?;
        Instrument::ALL.iter().try_for_each(|&i| write!(f, "; {i}, {}: {}", i.unit(), self[i]))
    }
}
