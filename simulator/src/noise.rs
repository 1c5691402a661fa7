//! Chance that can be repeated: one seed, one stream of numbers for each use.
//!
//! The generator is xoshiro256++ (Blackman and Vigna, "Scrambled linear pseudorandom number generators", ACM
//! Trans. Math. Softw. 47, 2021), its state filled by SplitMix64 as its authors advise. Each use draws from a
//! stream of its own, so that another instrument changes nobody else's numbers.
//!
//! [`Noise`] says what kind of error disturbs a value; [`Source`] makes it; [`DeadBand`] repeats a value until it has
//! moved far enough; [`Visits`] come and go.

use std::f64::consts::TAU;

/// A stream of random numbers.
#[derive(Debug, Clone)]
pub struct Chance {
    state: [u64; 4],
}

/// Step of SplitMix64: 2^64 divided by the golden ratio, odd.
const GOLDEN: u64 = 0x9e37_79b9_7f4a_7c15;

impl Chance {
    /// The stream number `stream` of `seed`.
    #[must_use]
    pub fn new(seed: u64, stream: u64) -> Chance {
        let mut counter = split_mix(seed) ^ split_mix(stream.wrapping_add(GOLDEN));
        let state = std::array::from_fn(|_| {
            counter = counter.wrapping_add(GOLDEN);
            split_mix(counter)
        });
        Chance { state }
    }

    fn bits(&mut self) -> u64 {
        let s = &mut self.state;
        let out = s[0].wrapping_add(s[3]).rotate_left(23).wrapping_add(s[0]);
        let t = s[1] << 17;
        s[2] ^= s[0];
        s[3] ^= s[1];
        s[1] ^= s[2];
        s[0] ^= s[3];
        s[2] ^= t;
        s[3] = s[3].rotate_left(45);
        out
    }

    /// Uniform on [0, 1).
    #[expect(clippy::cast_precision_loss, reason = "53 bits fit a double")]
    pub fn uniform(&mut self) -> f64 {
        (self.bits() >> 11) as f64 / (1u64 << 53) as f64
    }

    /// Standard normal (Box and Muller, Ann. Math. Stat. 29, 1958; one of the pair is enough here).
    pub fn normal(&mut self) -> f64 {
        let radius = (-2.0 * (1.0 - self.uniform()).ln()).sqrt();
        radius * (TAU * self.uniform()).cos()
    }

    /// Student's t of `freedom` degrees: `sqrt(n (U^(-2/n) - 1)) cos(2 pi V)` (Bailey, "Polar generation of random
    /// variates with the t-distribution", Math. Comp. 62, 1994).
    pub fn student_t(&mut self, freedom: f64) -> f64 {
        let u = 1.0 - self.uniform();
        (freedom * (u.powf(-2.0 / freedom) - 1.0)).sqrt() * (TAU * self.uniform()).cos()
    }

    /// Uniform between two ends.
    pub fn between(&mut self, (low, high): (f64, f64)) -> f64 {
        low + (high - low) * self.uniform()
    }
}

fn split_mix(x: u64) -> u64 {
    let x = (x ^ (x >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    let x = (x ^ (x >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    x ^ (x >> 31)
}

/// A quantity that wanders about zero and forgets where it was: an Ornstein-Uhlenbeck process, stepped exactly, so that
/// its spread does not depend on the step: given x now, the value a time h later is normal with mean `x exp(-h/tau)` and
/// variance `sigma^2 (1 - exp(-2 h/tau))` (Gillespie, Phys. Rev. E 54, 1996).
#[derive(Debug, Clone)]
pub struct Wander {
    chance: Chance,
    sigma: f64,
    correlation_s: f64,
    value: f64,
    /// The last step, s, what it keeps of the value and what it adds by chance: steps are mostly alike.
    step: [f64; 3],
}

impl Wander {
    /// Standard deviation `sigma`, correlation time in s; it starts anywhere in its spread.
    #[must_use]
    pub fn new(mut chance: Chance, sigma: f64, correlation_s: f64) -> Wander {
        let value = sigma * chance.normal();
        Wander { chance, sigma, correlation_s, value, step: [0.0, 1.0, 0.0] }
    }

    /// Where it stands.
    #[must_use]
    pub fn value(&self) -> f64 {
        self.value
    }

    /// From where it stands it goes on by another chance.
    #[must_use]
    pub fn by(self, chance: Chance) -> Wander {
        Wander { chance, ..self }
    }

    /// It stands that much higher.
    #[must_use]
    pub fn moved(self, by: f64) -> Wander {
        Wander { value: self.value + by, ..self }
    }

    /// Lets `step_s` pass.
    pub fn step(&mut self, step_s: f64) {
        if step_s != self.step[0] {
            let kept = (-step_s / self.correlation_s).exp();
            self.step = [step_s, kept, self.sigma * (1.0 - kept * kept).sqrt()];
        }
        let [_, kept, added] = self.step;
        self.value = self.value * kept + added * self.chance.normal();
    }
}

/// What kind of error disturbs a value. Sizes in the value's own unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Noise {
    /// None.
    Quiet,
    /// Normal, no memory.
    White {
        /// Standard deviation.
        sigma: f64,
    },
    /// Normal, forgets where it was: see [`Wander`].
    Wandering {
        /// Standard deviation.
        sigma: f64,
        /// Correlation time, s.
        correlation_s: f64,
    },
    /// Student's t, no memory: now and then one value stands far off.
    HeavyTailed {
        /// Standard deviation of the whole.
        sigma: f64,
        /// Degrees of freedom, above 2; the tail falls with this power. From 5 on the kurtosis is finite.
        freedom: f64,
    },
    /// A sine that starts anywhere: hum, a stirrer's blade, a pump's stroke.
    Ripple {
        /// From the middle to the peak.
        amplitude: f64,
        /// Frequency, Hz; what is faster than half the sampling rate is seen folded.
        frequency_hz: f64,
    },
}

impl Noise {
    /// Standard deviation of the whole.
    #[must_use]
    pub fn sigma(&self) -> f64 {
        match *self {
            Noise::Quiet => 0.0,
            Noise::White { sigma } | Noise::Wandering { sigma, .. } | Noise::HeavyTailed { sigma, .. } => sigma,
            Noise::Ripple { amplitude, .. } => amplitude / std::f64::consts::SQRT_2,
        }
    }

    /// The same kind of noise, `factor` times as large.
    #[must_use]
    pub fn times(self, factor: f64) -> Noise {
        match self {
            Noise::Quiet => Noise::Quiet,
            Noise::White { sigma } => Noise::White { sigma: sigma * factor },
            Noise::Wandering { sigma, correlation_s } => Noise::Wandering { sigma: sigma * factor, correlation_s },
            Noise::HeavyTailed { sigma, freedom } => Noise::HeavyTailed { sigma: sigma * factor, freedom },
            Noise::Ripple { amplitude, frequency_hz } => Noise::Ripple { amplitude: amplitude * factor, frequency_hz },
        }
    }
}

impl std::fmt::Display for Noise {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Noise::Quiet => write!(f, "none"),
            Noise::White { sigma } => write!(f, "white {sigma}"),
            Noise::Wandering { sigma, correlation_s } => write!(f, "wandering {sigma} over {correlation_s} s"),
            Noise::HeavyTailed { sigma, freedom } => write!(f, "heavy-tailed {sigma} of {freedom} degrees of freedom"),
            Noise::Ripple { amplitude, frequency_hz } => write!(f, "ripple {amplitude} at {frequency_hz} Hz"),
        }
    }
}

/// Makes one [`Noise`], a value each step.
#[derive(Debug, Clone)]
pub struct Source {
    step_s: f64,
    made: Made,
}

#[derive(Debug, Clone)]
enum Made {
    Drawn(Noise),
    Wandering(Wander),
    Ripple { amplitude: f64, turns: f64, turns_per_step: f64 },
}

impl Source {
    /// A value every `step_s`; what has a memory starts anywhere in its spread and keeps `chance` for itself.
    #[must_use]
    pub fn new(noise: Noise, mut chance: Chance, step_s: f64) -> Source {
        let made = match noise {
            Noise::Wandering { sigma, correlation_s } => Made::Wandering(Wander::new(chance, sigma, correlation_s)),
            Noise::Ripple { amplitude, frequency_hz } => {
                Made::Ripple { amplitude, turns: chance.uniform(), turns_per_step: frequency_hz * step_s }
            }
            _ => Made::Drawn(noise),
        };
        Source { step_s, made }
    }

    /// The value after one step more; what has no memory is drawn from `chance`.
    pub fn advance(&mut self, chance: &mut Chance) -> f64 {
        match &mut self.made {
            Made::Drawn(Noise::White { sigma }) => *sigma * chance.normal(),
            Made::Drawn(Noise::HeavyTailed { sigma, freedom }) => {
                // Student's t has the variance n/(n-2).
                *sigma * ((*freedom - 2.0) / *freedom).sqrt() * chance.student_t(*freedom)
            }
            Made::Drawn(_) => 0.0,
            Made::Wandering(wander) => {
                wander.step(self.step_s);
                wander.value()
            }
            Made::Ripple { amplitude, turns, turns_per_step } => {
                *turns = (*turns + *turns_per_step).fract();
                *amplitude * (TAU * *turns).sin()
            }
        }
    }
}

/// Shows the same value until the true one has moved more than `band` from it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DeadBand {
    /// Half the width, in the value's unit; 0: none.
    pub band: f64,
    shown: Option<f64>,
}

impl DeadBand {
    /// Nothing shown yet.
    #[must_use]
    pub fn new(band: f64) -> DeadBand {
        DeadBand { band, shown: None }
    }

    /// What is shown when the value is `x`.
    pub fn pass(&mut self, x: f64) -> f64 {
        let shown = self.shown.filter(|shown| (x - shown).abs() <= self.band).unwrap_or(x);
        self.shown = Some(shown);
        shown
    }
}

/// Something that comes now and then, stays for a while and goes: a person on the deck, foam under the gauge.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct VisitSetup {
    /// Arrivals while nobody is there, per hour; 0: never.
    pub per_h: f64,
    /// Smallest and largest size, in the value's unit.
    pub size: (f64, f64),
    /// Shortest and longest stay, s.
    pub stay_s: (f64, f64),
    /// One is there at the very start, and leaves.
    pub at_start: bool,
}

impl VisitSetup {
    /// Nobody ever.
    pub const NEVER: VisitSetup = VisitSetup { per_h: 0.0, size: (0.0, 0.0), stay_s: (0.0, 0.0), at_start: false };
}

impl std::fmt::Display for VisitSetup {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let VisitSetup { per_h, size, stay_s, at_start } = self;
        write!(f, "{per_h} per h of {} to {}, {} to {} s", size.0, size.1, stay_s.0, stay_s.1)?;
        if *at_start { write!(f, ", one at the start") } else { Ok(()) }
    }
}

/// Arrivals by chance (exponential waits), sizes and stays uniform.
#[derive(Debug, Clone)]
pub struct Visits {
    setup: VisitSetup,
    chance: Chance,
    size: f64,
    /// Until the next change: arrival or departure.
    left_s: f64,
}

impl Visits {
    /// At the start.
    #[must_use]
    pub fn new(setup: VisitSetup, chance: Chance) -> Visits {
        let mut visits = Visits { setup, chance, size: 0.0, left_s: 0.0 };
        if setup.at_start {
            visits.arrive()
        } else {
            visits.leave()
        }
        visits
    }

    /// How much is there.
    #[must_use]
    pub fn size(&self) -> f64 {
        self.size
    }

    /// Lets `step_s` pass.
    pub fn step(&mut self, step_s: f64) {
        self.left_s -= step_s;
        if self.left_s <= 0.0 {
            if self.size == 0.0 { self.arrive() } else { self.leave() }
        }
    }

    fn arrive(&mut self) {
        self.size = self.chance.between(self.setup.size);
        self.left_s = self.chance.between(self.setup.stay_s);
    }

    fn leave(&mut self) {
        self.size = 0.0;
        // A rate of 0 gives an endless wait.
        self.left_s = -(1.0 - self.chance.uniform()).ln() * 3600.0 / self.setup.per_h;
        if self.setup.per_h <= 0.0 {
            self.left_s = f64::INFINITY;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Expected: moments of the uniform and of the standard normal distribution; five standard errors of
    /// 200,000 draws.
    #[test]
    fn draws_have_the_moments_of_their_distribution() {
        let mut chance = Chance::new(7, 3);
        let n = 200_000;
        let (mut u, mut sum, mut square, mut fourth) = (0.0, 0.0, 0.0, 0.0);
        for _ in 0..n {
            u += chance.uniform();
            let z = chance.normal();
            sum += z;
            square += z * z;
            fourth += z * z * z * z;
        }
        let n = f64::from(n);
        assert!((u / n - 0.5).abs() < 5.0 * (1.0 / 12.0f64).sqrt() / n.sqrt());
        assert!((sum / n).abs() < 5.0 / n.sqrt());
        assert!((square / n - 1.0).abs() < 5.0 * 2f64.sqrt() / n.sqrt());
        assert!((fourth / n - 3.0).abs() < 5.0 * 96f64.sqrt() / n.sqrt());
    }

    #[test]
    fn a_seed_repeats_and_streams_differ() {
        let draw = |seed, stream| Chance::new(seed, stream).bits();
        assert_eq!(draw(1, 2), draw(1, 2));
        assert_ne!(draw(1, 2), draw(1, 3));
        assert_ne!(draw(1, 2), draw(2, 2));
        assert_ne!(draw(1, 2), draw(2, 1));
    }

    /// Expected: autocorrelation exp(-t / correlation time) of the process, whatever the step.
    #[test]
    fn a_wander_keeps_its_spread_and_its_memory() {
        for step_s in [0.5, 5.0] {
            let mut wander = Wander::new(Chance::new(11, 0), 2.0, 20.0);
            let (mut square, mut product) = (0.0, 0.0);
            let n = 400_000;
            for _ in 0..n {
                let before = wander.value();
                wander.step(step_s);
                square += before * before;
                product += before * wander.value();
            }
            let n = f64::from(n);
            assert!((square / n / 4.0 - 1.0).abs() < 0.06, "variance {} at step {step_s} s", square / n);
            assert!((product / square - (-step_s / 20.0).exp()).abs() < 0.01);
        }
    }

    fn drawn(noise: Noise, step_s: f64, n: usize) -> Vec<f64> {
        let (mut source, mut chance) = (Source::new(noise, Chance::new(21, 5), step_s), Chance::new(21, 6));
        (0..n).map(|_| source.advance(&mut chance)).collect()
    }

    /// Mean, standard deviation, kurtosis, autocorrelation at the given lag.
    fn moments(x: &[f64], lag: usize) -> [f64; 4] {
        let n = x.len() as f64;
        let mean = x.iter().sum::<f64>() / n;
        let about = |power: i32| x.iter().map(|v| (v - mean).powi(power)).sum::<f64>() / n;
        let product = x.iter().zip(&x[lag..]).map(|(a, b)| (a - mean) * (b - mean)).sum::<f64>() / n;
        [mean, about(2).sqrt(), about(4) / about(2).powi(2), product / about(2)]
    }

    /// Expected: the stated standard deviation, no mean, kurtosis 3, no memory. Tolerance: five standard errors
    /// (99.9999 %) of 200,000 draws, `1/sqrt(n)`, `1/sqrt(2 n)`, `sqrt(24/n)`.
    #[test]
    fn white_noise_is_white() {
        let n = 200_000;
        let [mean, sd, kurtosis, memory] = moments(&drawn(Noise::White { sigma: 6.0 }, 0.5, n), 1);
        let root = (n as f64).sqrt();
        assert!(mean.abs() < 5.0 * 6.0 / root, "mean {mean}");
        assert!((sd / 6.0 - 1.0).abs() < 5.0 / (2f64.sqrt() * root), "sd {sd}");
        assert!((kurtosis - 3.0).abs() < 5.0 * 24f64.sqrt() / root, "kurtosis {kurtosis}");
        assert!(memory.abs() < 5.0 / root, "autocorrelation {memory}");
    }

    /// Expected: autocorrelation `exp(-t/tau)` at several lags, the stated spread, at two steps. Tolerance: five standard
    /// errors by Bartlett's formula: a first-order process of memory p has `n (1-p)/(1+p)` independent draws for its
    /// mean, `n (1-p^2)/(1+p^2)` for its variance (Priestley, Spectral Analysis and Time Series, 1981, 5.3).
    #[test]
    fn wandering_noise_keeps_its_spread_and_forgets_in_its_time() {
        let n = 400_000;
        for step_s in [0.5, 5.0] {
            let x = drawn(Noise::Wandering { sigma: 5.0, correlation_s: 20.0 }, step_s, n);
            let p = (-step_s / 20.0f64).exp();
            let root = |share: f64| (n as f64 * share).sqrt();
            let free = root((1.0 - p * p) / (1.0 + p * p));
            let [mean, sd, ..] = moments(&x, 1);
            assert!(mean.abs() < 5.0 * 5.0 / root((1.0 - p) / (1.0 + p)), "mean {mean} at step {step_s} s");
            assert!((sd / 5.0 - 1.0).abs() < 5.0 / (2f64.sqrt() * free), "sd {sd} at step {step_s} s");
            for lag in [1usize, 4, 40] {
                let expected = p.powi(i32::try_from(lag).expect("small"));
                let got = moments(&x, lag)[3];
                assert!((got - expected).abs() < 5.0 / free, "lag {lag}, step {step_s} s: {got}, expected {expected}");
            }
        }
    }

    /// Expected: kurtosis `3 + 6/(n-4)` of Student's t; share beyond a limit of scipy 1.17.1, `2*t(9).sf(5)`. Tolerance:
    /// five standard errors; the kurtosis needs an eighth moment, `E t^8 = 105 n^4/((n-2)(n-4)(n-6)(n-8))`, finite at 9.
    #[test]
    fn heavy_tails_are_those_of_student_t() {
        let n = 1_000_000;
        let x = drawn(Noise::HeavyTailed { sigma: 2.0, freedom: 9.0 }, 0.5, n);
        let root = (n as f64).sqrt();
        let [mean, sd, kurtosis, memory] = moments(&x, 1);
        let var = 9.0 / 7.0f64;
        let fourth = 3.0 * 81.0 / (7.0 * 5.0) / var.powi(2);
        let eighth = 105.0 * 9f64.powi(4) / (7.0 * 5.0 * 3.0) / var.powi(4);
        assert!((fourth - 4.2).abs() < 1e-12, "two forms of the kurtosis: {fourth}");
        assert!(mean.abs() < 5.0 * 2.0 / root, "mean {mean}");
        assert!((sd / 2.0 - 1.0).abs() < 5.0 * ((fourth - 1.0) / 4.0).sqrt() / root, "sd {sd}");
        assert!((kurtosis - fourth).abs() < 5.0 * (eighth - fourth * fourth).sqrt() / root, "kurtosis {kurtosis}");
        assert!(memory.abs() < 5.0 / root, "autocorrelation {memory}");
        let limit = 5.0 * 2.0 / var.sqrt();
        let beyond = x.iter().filter(|v| v.abs() > limit).count() as f64 / n as f64;
        let expected = 7.389_679_1e-4;
        assert!((beyond - expected).abs() < 5.0 * (expected / n as f64).sqrt(), "beyond {limit}: {beyond}");
    }

    /// Expected: 40 s of 1.25 Hz are 50 turns; amplitude over sqrt(2) is the standard deviation.
    #[test]
    fn a_ripple_has_its_frequency() {
        let x = drawn(Noise::Ripple { amplitude: 3.0, frequency_hz: 1.25 }, 0.05, 800);
        let turns = x.windows(2).filter(|w| w[0] < 0.0 && w[1] >= 0.0).count();
        assert_eq!(turns, 50);
        let [mean, sd, ..] = moments(&x, 1);
        assert!(mean.abs() < 1e-9 && (sd - 3.0 / 2f64.sqrt()).abs() < 1e-9, "mean {mean}, sd {sd}");
    }

    /// Expected: a random walk of step s leaves a band of +-b after `(b/s)^2` steps on average, and a bit more since it
    /// overshoots by 0.583 s (Siegmund, Sequential Analysis, 1985, X.2): `(b/s + 0.583)^2`. Runs have a spread of
    /// sqrt(2/3) of their mean (exit of Brownian motion); five standard errors. A ramp repeats for exactly b/rate.
    #[test]
    fn a_dead_band_repeats_until_the_value_has_moved() {
        let (mut chance, mut band, mut x) = (Chance::new(2, 2), DeadBand::new(12.0), 0.0);
        let (mut runs, mut last) = (0, band.pass(0.0));
        let n = 400_000;
        for _ in 0..n {
            x += chance.normal();
            let shown = band.pass(x);
            assert!((shown - x).abs() <= 12.0);
            runs += i32::from(shown != last);
            last = shown;
        }
        let (mean, expected) = (f64::from(n) / f64::from(runs), (12.0f64 + 0.583).powi(2));
        let error = (2.0 / 3.0 / f64::from(runs)).sqrt();
        assert!((mean / expected - 1.0).abs() < 5.0 * error, "mean run {mean}, expected {expected}");
        let mut ramp = DeadBand::new(10.0);
        let shown: Vec<f64> = (0..100).map(|t| ramp.pass(f64::from(t))).collect();
        assert_eq!(shown.iter().filter(|v| **v == 11.0).count(), 11);
    }

    /// Expected: share of time with somebody there = stay over stay and wait (renewal), five standard errors; sizes and
    /// stays within their ends; one who is there at the start leaves.
    #[test]
    fn visits_come_as_often_as_stated() {
        let setup = VisitSetup { per_h: 6.0, size: (70.0, 100.0), stay_s: (30.0, 180.0), at_start: true };
        let mut visits = Visits::new(setup, Chance::new(4, 4));
        assert!((70.0..100.0).contains(&visits.size()));
        let (mut there, mut arrivals, mut before) = (0, 0, visits.size());
        let n = 4_000_000;
        for _ in 0..n {
            visits.step(0.5);
            let size = visits.size();
            assert!(size == 0.0 || (70.0..100.0).contains(&size));
            arrivals += i32::from(before == 0.0 && size > 0.0);
            there += i32::from(size > 0.0);
            before = size;
        }
        let (share, expected) = (f64::from(there) / f64::from(n), 105.0 / (105.0 + 600.0));
        assert!((share / expected - 1.0).abs() < 5.0 * 1.1 / f64::from(arrivals).sqrt(), "share {share}");
        let per_h = f64::from(arrivals) / (f64::from(n) * 0.5 / 3600.0);
        assert!((per_h / (3600.0 / 705.0) - 1.0).abs() < 5.0 / f64::from(arrivals).sqrt(), "{per_h} per h");
    }
}
