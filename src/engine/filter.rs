//! What is known of the witnesses' errors: a Kalman filter (Kalman 1960), one scalar row at a time.
//!
//! The true mass is never a state: it cancels in every row, since a row is a difference of witnesses. States are the
//! errors that outlast a reading, each in units of what its budget states (so prior variance 1), walks in kg:
//!
//! - one for each persistent source of a [`Budget`](super::witness::Budget): constant; a witness feels it by the
//!   source's signed contribution in kg, which says all at once how a gain grows with the mass, a zero with time, a lag
//!   with the rate, and which witnesses share it;
//! - for each witness the error of its start reading (constant), a random walk, and noise with a memory
//!   (Ornstein and Uhlenbeck 1930: after dt it has fallen to exp(-dt/memory), and as much variance has come in).

use super::frame::Source;
use super::witness::{Account, Errors};

/// Sources whose error stays the same through a transfer. What the others stand for is in [`Errors`].
pub const PERSISTENT: [Source; 18] = [
    Source::MeterGain,
    Source::MeterZero,
    Source::ScaleSpan,
    Source::GasTemperature,
    Source::GasVolume,
    Source::PadPressure,
    Source::LineUpstream,
    Source::LineDownstream,
    Source::Density,
    Source::TankTable,
    Source::LevelLag,
    Source::DrawOff,
    Source::Gap,
    Source::Neighbour,
    Source::LevelSpan,
    Source::TankVapour,
    Source::LowFlow,
    Source::HoseReaction,
];

/// First state of the start readings, of the walks, of the noises with a memory; how many states there are.
const START: usize = PERSISTENT.len();
const WALK: usize = START + 3;
const SLOW: usize = WALK + 3;
/// See above.
pub const STATES: usize = SLOW + 3;

/// A value for each state.
pub type Vector = [f64; STATES];

/// What a witness feels of each state, kg per unit of it.
#[must_use]
pub fn feels(account: &Account, witness: usize) -> Vector {
    let mut h = [0.0; STATES];
    for (cell, source) in h.iter_mut().zip(PERSISTENT) {
        *cell = account.budget.0[source as usize];
    }
    h[START + witness] = account.errors.start_kg;
    h[WALK + witness] = 1.0;
    h[SLOW + witness] = account.errors.slow_kg;
    h
}

/// The states that a witness feels alone and that begin anew with its start reading.
#[must_use]
pub fn own_states(witness: usize) -> [usize; 3] {
    [START + witness, WALK + witness, SLOW + witness]
}

/// a . b
#[must_use]
pub fn dot(a: &Vector, b: &Vector) -> f64 {
    a.iter().zip(b).fold(0.0, |sum, (a, b)| sum + a * b)
}

/// How much of each state is left after a time: 1 but for noise with a memory.
#[must_use]
pub fn decay(dt_s: f64, errors: &[Errors; 3]) -> [f64; 3] {
    errors.map(|e| if e.slow_s > 0.0 { libm::exp(-dt_s / e.slow_s) } else { 0.0 })
}

/// Lets a vector of states decay.
pub fn fade(x: &mut Vector, left: &[f64; 3]) {
    for (cell, left) in x[SLOW..].iter_mut().zip(left) {
        *cell *= left;
    }
}

/// Estimate of the errors and its covariance.
#[derive(Debug, Clone)]
pub struct Filter {
    x: Vector,
    p: [Vector; STATES],
}

/// What a row is worth before it is taken.
#[derive(Debug, Clone, Copy)]
pub struct Expected {
    /// What the row should show, kg.
    pub value: f64,
    /// Variance of what it shows about that, kg2.
    pub variance: f64,
    /// Covariance of the states with it.
    ph: Vector,
}

impl Expected {
    /// How far each state goes for a kilogram by which the row is off.
    #[must_use]
    pub fn gain(&self) -> Vector {
        self.ph.map(|ph| ph / self.variance)
    }
}

impl Default for Filter {
    fn default() -> Filter {
        let mut p = [[0.0; STATES]; STATES];
        for (i, row) in p.iter_mut().enumerate() {
            row[i] = if (WALK..SLOW).contains(&i) { 0.0 } else { 1.0 };
        }
        Filter { x: [0.0; STATES], p }
    }
}

impl Filter {
    /// Time passes: walks walk, noise fades and comes anew.
    pub fn predict(&mut self, dt_s: f64, errors: &[Errors; 3]) {
        let left = decay(dt_s, errors);
        fade(&mut self.x, &left);
        for row in &mut self.p {
            fade(row, &left);
        }
        for (i, left) in left.into_iter().enumerate() {
            self.p[SLOW + i].iter_mut().for_each(|cell| *cell *= left);
            self.p[SLOW + i][SLOW + i] += 1.0 - left * left;
            self.p[WALK + i][WALK + i] += errors[i].walk_kg2_per_s * dt_s;
        }
    }

    /// What a row that feels `h` should show, with so much noise of its own, kg2.
    #[must_use]
    pub fn expect(&self, h: &Vector, noise_kg2: f64) -> Expected {
        let mut expected = Expected { value: dot(h, &self.x), variance: noise_kg2, ph: [0.0; STATES] };
        for (cell, row) in expected.ph.iter_mut().zip(&self.p) {
            *cell = dot(row, h);
        }
        expected.variance += dot(h, &expected.ph);
        expected
    }

    /// Takes a row that was off by so much. The covariance stays symmetric: only one half is worked out.
    pub fn take(&mut self, expected: &Expected, off_kg: f64) {
        if expected.variance <= 0.0 {
            return;
        }
        for i in 0..STATES {
            let share = expected.ph[i] / expected.variance;
            self.x[i] += share * off_kg;
            for j in 0..=i {
                self.p[i][j] -= share * expected.ph[j];
                self.p[j][i] = self.p[i][j];
            }
            // Rounding alone can push a variance that is all but known below nothing.
            self.p[i][i] = self.p[i][i].max(0.0);
        }
    }

    /// Forgets what a witness's start reading and walk were believed to be off by: it has a new start.
    pub fn start_anew(&mut self, witness: usize) {
        for i in own_states(witness) {
            self.x[i] = 0.0;
            self.p[i] = [0.0; STATES];
            self.p.iter_mut().for_each(|row| row[i] = 0.0);
            self.p[i][i] = if i == WALK + witness { 0.0 } else { 1.0 };
        }
    }

    /// What a row that feels `h` would show without noise.
    #[must_use]
    pub fn lasting(&self, h: &Vector) -> f64 {
        h[..SLOW].iter().zip(&self.x[..SLOW]).fold(0.0, |sum, (h, x)| sum + h * x)
    }

    /// The estimate.
    #[must_use]
    pub fn x(&self) -> &Vector {
        &self.x
    }

    /// Covariance of what two witnesses feel of the errors that are still unknown, kg2.
    #[must_use]
    pub fn covariance(&self, a: &Vector, b: &Vector) -> f64 {
        // A witness feels a third of the states or fewer; the others add exact zeros.
        let felt = self.p.iter().zip(a).filter(|(_, a)| **a != 0.0);
        felt.fold(0.0, |sum, (row, a)| sum + a * dot(row, b))
    }

    /// Variance of a state.
    #[must_use]
    pub fn variance(&self, state: usize) -> f64 {
        self.p[state][state]
    }
}
