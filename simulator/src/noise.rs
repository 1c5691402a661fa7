//! Chance that can be repeated: one seed, one stream of numbers for each use.
//!
//! The generator is xoshiro256++ (Blackman and Vigna, "Scrambled linear pseudorandom number generators", ACM
//! Trans. Math. Softw. 47, 2021), its state filled by SplitMix64 as its authors advise. Each use draws from a
//! stream of its own, so that another instrument changes nobody else's numbers.

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
        radius * (std::f64::consts::TAU * self.uniform()).cos()
    }
}

fn split_mix(x: u64) -> u64 {
    let x = (x ^ (x >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    let x = (x ^ (x >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    x ^ (x >> 31)
}

/// A quantity that wanders about zero and forgets where it was: an Ornstein-Uhlenbeck process, stepped
/// exactly, so that its spread does not depend on the step.
#[derive(Debug, Clone)]
pub struct Wander {
    chance: Chance,
    sigma: f64,
    correlation_s: f64,
    value: f64,
}

impl Wander {
    /// Standard deviation `sigma`, correlation time in s; it starts anywhere in its spread.
    #[must_use]
    pub fn new(mut chance: Chance, sigma: f64, correlation_s: f64) -> Wander {
        let value = sigma * chance.normal();
        Wander { chance, sigma, correlation_s, value }
    }

    /// Where it stands.
    #[must_use]
    pub fn value(&self) -> f64 {
        self.value
    }

    /// Lets `step_s` pass.
    pub fn step(&mut self, step_s: f64) {
        let kept = (-step_s / self.correlation_s).exp();
        self.value = self.value * kept + self.sigma * (1.0 - kept * kept).sqrt() * self.chance.normal();
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
}
