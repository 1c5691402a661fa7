//! People on the deck and foam under the gauge: a jump of their sign and size is excused for a while.
//!
//! A person who steps on makes the trailer heavier at once, one who was there at the start makes it lighter; foam only
//! raises the gauge. Such a jump takes the witness out of the comparison until it is back. It never takes it out of
//! the margin. What does not come back in time, or grows beyond what people or foam can be, is compared again as it
//! stands: then it is a step to be found.

use super::frame::WitnessId;
use super::witness::Errors;
use crate::planted::{Bug, planted};
use crate::time::EngineTime;

const SCALE: usize = WitnessId::Scale as usize;
const TANK: usize = WitnessId::Tank as usize;

/// Longest excuse, s: people work on a deck for a minute or three; foam falls within one (assumptions).
const SCALE_S: f64 = 200.0;
/// See above.
const LEVEL_S: f64 = 90.0;
/// One who joins makes the trailer heavier by so many standard deviations than in the last few blocks.
const JOIN_SIGMAS: f64 = 3.5;
/// See above.
const DIP: usize = 4;
/// Longest excuse in all, s: people who come one after the other, foam that comes again (assumption: two visits).
pub const IN_ALL_S: f64 = 2.0 * SCALE_S;
/// Least and most that people with their tools weigh, kg: one light person, three with tools (assumptions).
const PEOPLE_KG: (f64, f64) = (40.0, 300.0);
/// Highest foam, m (assumption).
const FOAM_M: f64 = 0.06;
/// A jump is one when it exceeds this many standard deviations of the noise.
const JUMP_SIGMAS: f64 = 4.0;
/// Foam's is, since only one sign is excused.
const FOAM_SIGMAS: f64 = 3.0;
/// It is back when less than this share of it is left, or less than so many standard deviations.
const BACK_SHARE: f64 = 0.3;
/// See above.
const BACK_SIGMAS: f64 = 1.5;
/// One who leaves makes the trailer lighter once; what goes on making it lighter is lost product. It may grow by this
/// share and so many standard deviations after the first block.
const GROWS: f64 = 0.5;
/// See above.
const GROWS_SIGMAS: f64 = 3.0;
/// Where the third witness jumped by as much, up to this share of it, it is the meter that jumped: seen within this time
/// of the jump, s, and where its own is no older than that: one from before is another matter.
const MEANT: f64 = 0.35;
/// See above.
const MEANT_S: f64 = 20.0;
/// A jump of the third witness is one beyond this many standard deviations.
const OTHER_SIGMAS: f64 = 4.0;
/// A jump begins where at least this share of it is one against the latest block that it is measured from.
const BEGINS: f64 = 0.5;
/// A step back takes at least this share off what a step of its own the other way has left.
const BACK_TO: f64 = 0.5;
/// Blocks looked back on, and how many of the latest may hold part of a jump already (a gauge follows with its lag).
const KEPT: usize = 10;
/// See above.
pub const RISING: usize = 2;
/// Who comes so soon after another has gone, s, has no excuse in all of his own.
const CHANGES_S: f64 = 15.0;
/// Blocks after which what a witness was off by is no longer told by what it was off by before it went.
pub const GONE: usize = 12;
/// Fewest blocks that a jump is measured from.
const FEWEST: usize = 2;

/// What a witness is off by in a block.
#[derive(Debug, Clone, Copy)]
pub struct Off {
    /// Against what the filter expects of it without noise, kg.
    pub kg: f64,
    /// Standard deviation of that about its mean, kg.
    pub sigma_kg: f64,
    /// kg per unit of its signal.
    pub kg_per_unit: f64,
    /// Nothing has come in yet. What fills the line makes up for somebody's weight on the scale, so that nobody can say that it is
    /// back; and of what grows only one who steps on can be told.
    pub fills: bool,
    /// The meter stands while mass moves: nobody can say that it is back.
    pub stands: bool,
}

/// By how much a witness jumped, where that is more than noise, and since when it has.
#[derive(Debug, Clone, Copy)]
pub struct Jump {
    kg: f64,
    since: EngineTime,
}

#[derive(Debug, Clone, Copy)]
struct Excuse {
    first: EngineTime,
    since: EngineTime,
    /// What it was excused for, and the most of it since.
    jump_kg: f64,
    most_kg: f64,
    recent_kg: [f64; DIP],
}

impl Excuse {
    /// One more who steps on has his own time, within that of all of them. Who goes as he comes leaves a dip in what the
    /// deck carries. Foam that falls was foam, and what is left of it has its own time.
    fn go_on(mut self, witness: WitnessId, at: EngineTime, now_kg: f64, sigma_kg: f64) -> Excuse {
        // Heavier on a scale is less received, foam is more.
        let side = if witness == WitnessId::Scale { -1.0 } else { 1.0 };
        let least_kg = self.recent_kg.iter().map(|kg| side * kg).fold(f64::INFINITY, f64::min);
        let joined = side * now_kg > 0.0_f64.max(least_kg + JOIN_SIGMAS * sigma_kg);
        let most_kg = self.recent_kg.iter().fold(0.0, |most: f64, kg| most.max(*kg));
        let falls = witness == WitnessId::Tank && now_kg < most_kg - JOIN_SIGMAS * sigma_kg;
        if joined || falls {
            self.since = at;
            self.recent_kg = [now_kg; DIP];
        }
        self.recent_kg.rotate_right(1);
        self.recent_kg[0] = now_kg;
        self.most_kg = self.most_kg.max(now_kg.abs());
        self
    }
}

/// The disturbances of one witness.
#[derive(Debug, Clone, Default)]
pub struct Disturbance {
    /// The latest blocks, newest first.
    past_kg: [f64; KEPT],
    count: usize,
    /// Blocks since it was seen.
    gone: usize,
    /// Its excuse has just ended without its coming back.
    stays: bool,
    /// It came back in this block: what it shows in it is still part of what was excused.
    returns: bool,
    /// When what stays came.
    left_off: Option<EngineTime>,
    /// Since when its jump has been more than noise, and the most of it since.
    clear: Option<Jump>,
    /// Its last step of its own that was no visit, or did not go with it, kg. What the filter believes it to be off by is none:
    /// that may be what another one lied.
    stepped_kg: f64,
    /// A step the other way has taken that back, and is still seen.
    taken_back: bool,
    excuse: Option<Excuse>,
    /// When the last excuse began, and when he for whom it was had gone.
    before: Option<(EngineTime, EngineTime)>,
}

impl Disturbance {
    /// Before the first block: nothing is off.
    #[must_use]
    pub fn fresh() -> Disturbance {
        Disturbance { count: KEPT, ..Disturbance::default() }
    }

    /// Since when it is excused.
    #[must_use]
    pub fn excused(&self) -> Option<EngineTime> {
        self.excuse.map(|excuse| excuse.first)
    }

    /// An excuse ended with this block, and what was excused is still there: no outlier any more.
    #[must_use]
    pub fn stays(&self) -> bool {
        self.stays
    }

    /// It takes no part in this block: it is excused, or came back in it.
    #[must_use]
    pub fn is_out(&self) -> bool {
        self.excuse.is_some() || self.returns
    }

    /// It was excused, has not come back and is compared as it stands: for as long as visits may take in all nobody can
    /// tell yet whether it is another one.
    #[must_use]
    pub fn is_left_off(&self, at: EngineTime) -> bool {
        self.left_off.is_some_and(|came| at.since_s(came) <= IN_ALL_S)
    }

    /// By how much it has jumped at the most against the blocks before the last, while that is more than noise: what it is off by since
    /// comes in among those blocks, so that a large jump passes through every smaller size. It begins against the latest of them:
    /// what has faded from a large one since is no jump the other way.
    #[must_use]
    pub fn clear_jump(&self, at: EngineTime, off: &Off) -> Option<Jump> {
        let kg = self.jump_kg(off).filter(|jump_kg| jump_kg.abs() > OTHER_SIGMAS * off.sigma_kg)?;
        let begins = || (off.kg - self.past_kg[RISING]) * kg.signum() > BEGINS * kg.abs();
        let before = self.clear.filter(|before| before.kg * kg > 0.0);
        let before = before.or_else(|| begins().then_some(Jump { kg, since: at }))?;
        Some(if before.kg.abs() > kg.abs() { before } else { Jump { kg, ..before } })
    }

    /// By how much it is off since before it jumped; None: too few blocks tell.
    fn jump_kg(&self, off: &Off) -> Option<f64> {
        Some(off.kg - self.before_kg()?)
    }

    fn before_kg(&self) -> Option<f64> {
        if self.count < RISING + FEWEST {
            return None;
        }
        let older = &self.past_kg[RISING..self.count];
        #[expect(clippy::cast_precision_loss, reason = "at most eight")]
        let n = older.len() as f64;
        Some(older.iter().fold(0.0, |sum, kg| sum + kg) / n)
    }

    /// Takes a block; true when an excuse begins with it. `other`: the jump of the other one against the same meter.
    pub fn block(&mut self, witness: WitnessId, at: EngineTime, off: &Off, other: Option<Jump>) -> bool {
        if self.gone > GONE {
            // Whoever stepped on while nobody read it did so then.
            self.stepped_kg = off.kg;
        }
        self.gone = 0;
        (self.stays, self.returns) = (false, false);
        let jump_kg = self.jump_kg(off);
        self.clear = self.clear_jump(at, off);
        if self.clear.is_none() && std::mem::take(&mut self.taken_back) {
            self.stepped_kg = 0.0;
        }
        let clear_since = self.clear.map(|jump| jump.since);
        let since = self.excuse.map(|excuse| excuse.first).or(clear_since).unwrap_or(at);
        let together = |other: &Jump| since.since_s(other.since) <= MEANT_S;
        let meter =
            jump_kg.zip(other.filter(together)).is_some_and(|(own, other)| (own - other.kg).abs() < MEANT * own.abs());
        match (self.excuse, jump_kg) {
            (Some(excuse), Some(jump_kg)) => {
                if meter && at.since_s(excuse.since) <= MEANT_S || is_over(witness, at, off, jump_kg, excuse) {
                    // What it is off by now is where the next jump is looked for from.
                    let left_off = (!meter).then_some(excuse.first);
                    let stepped_kg = if meter { 0.0 } else { jump_kg };
                    *self = Disturbance { stays: !meter, left_off, stepped_kg, ..Disturbance::default() };
                } else if is_back(witness, off, jump_kg, &excuse) {
                    (self.excuse, self.before) = (None, Some((excuse.first, at)));
                    self.returns = true;
                } else {
                    self.excuse = Some(excuse.go_on(witness, at, jump_kg, off.sigma_kg));
                }
            }
            (None, Some(jump_kg)) if !meter && self.is_visit(witness, jump_kg, off) => {
                self.left_off = None;
                let changed = self.before.filter(|(_, gone)| at.since_s(*gone) <= CHANGES_S);
                let first = changed.map_or(at, |(first, _)| first);
                self.excuse =
                    Some(Excuse { first, since: at, jump_kg, most_kg: jump_kg.abs(), recent_kg: [jump_kg; DIP] });
                return true;
            }
            (None, Some(jump_kg)) if !meter && self.clear.is_some() => self.steps(witness, jump_kg),
            _ => {}
        }
        if !self.is_out() && !off.fills {
            self.past_kg.rotate_right(1);
            self.past_kg[0] = off.kg;
            self.count = (self.count + 1).min(KEPT);
        }
        false
    }

    /// A jump that people or foam may be; one that has been larger since it came is none, though it passes through their sizes.
    fn is_visit(&self, witness: WitnessId, jump_kg: f64, off: &Off) -> bool {
        let most_kg = most_kg(witness as usize, off.kg_per_unit);
        excusable(witness, jump_kg, off, self.stepped_kg) && self.clear.is_none_or(|most| most.kg.abs() < most_kg)
    }

    /// A jump that is no visit. It is seen for as long as blocks from before it count: the most of it is what it is. One the
    /// other way takes it back.
    fn steps(&mut self, witness: WitnessId, jump_kg: f64) {
        if witness == WitnessId::Scale && jump_kg.abs() < PEOPLE_KG.0 {
            // The filter gives a little to everybody of what one of them lies.
            return;
        }
        let (same, larger) = (self.stepped_kg * jump_kg >= 0.0, jump_kg.abs() > self.stepped_kg.abs());
        self.taken_back = !same;
        if same && larger {
            self.stepped_kg = jump_kg;
        }
    }

    /// The meter against which it jumped has been found to stand since: whatever it was excused for since then, nobody saw it.
    pub fn meter_stood(&mut self, since: EngineTime) {
        if self.excuse.is_some_and(|excuse| excuse.first >= since) {
            *self = Disturbance { gone: GONE + 1, ..Disturbance::default() };
        }
    }

    /// Nothing was seen of it in this block. What it was off by before counts for a minute.
    pub fn absent(&mut self) {
        self.gone += 1;
        if self.gone > GONE {
            *self = Disturbance { gone: self.gone, ..Disturbance::default() };
        }
    }
}

/// A jump between two readings so far apart that is no noise, kg: of noise with a memory they share what is left of it.
#[must_use]
pub fn clear_kg(witness: usize, errors: &Errors, apart_s: f64) -> f64 {
    let least_kg = if witness == SCALE { PEOPLE_KG.0 } else { 0.0 };
    let shared = if errors.slow_s > 0.0 { libm::exp(-apart_s / errors.slow_s) } else { 0.0 };
    let noise_kg2 = errors.white_kg * errors.white_kg + errors.slow_kg * errors.slow_kg * (1.0 - shared);
    least_kg.max(JUMP_SIGMAS * (2.0 * noise_kg2).sqrt())
}

/// How long one visit, or foam, is excused, s.
#[must_use]
pub fn own_s(witness: usize) -> f64 {
    if witness == SCALE { SCALE_S } else { LEVEL_S }
}

/// A jump takes back one of so much when it is the other way and at least so large.
#[must_use]
pub fn takes_back(jump_kg: f64, before_kg: f64) -> bool {
    -jump_kg * before_kg.signum() >= BACK_TO * before_kg.abs()
}

fn is_back(witness: WitnessId, off: &Off, now_kg: f64, excuse: &Excuse) -> bool {
    let level = now_kg.abs() < (BACK_SIGMAS * off.sigma_kg).max(BACK_SHARE * excuse.most_kg);
    // Foam falls by and by, people leave at once. What creeps back on a scale is what the filter is learning.
    let most_kg = excuse.recent_kg.iter().fold(0.0, |most: f64, kg| most.max(kg.abs()));
    let left = witness != WitnessId::Scale || most_kg - now_kg.abs() > PEOPLE_KG.0;
    level && left && !off.fills && !off.stands
}

fn is_over(witness: WitnessId, at: EngineTime, off: &Off, now_kg: f64, excuse: Excuse) -> bool {
    let lighter = witness == WitnessId::Scale && excuse.jump_kg > 0.0;
    let grows = lighter && now_kg > excuse.jump_kg * (1.0 + GROWS) + GROWS_SIGMAS * off.sigma_kg;
    let late = at.since_s(excuse.since) > own_s(witness as usize) || at.since_s(excuse.first) > IN_ALL_S;
    late && !planted(Bug::ExcuseWithoutEnd) || grows || now_kg.abs() > most_kg(witness as usize, off.kg_per_unit)
}

/// The most that people or foam can be of a witness that has so many kg per unit of its signal, kg.
#[must_use]
pub fn most_kg(witness: usize, kg_per_unit: f64) -> f64 {
    match witness {
        SCALE => PEOPLE_KG.1,
        TANK => FOAM_M * kg_per_unit,
        _ => 0.0,
    }
}

/// The sign and size of people or foam. Received by scale falls by what steps on the deck.
fn excusable(witness: WitnessId, jump_kg: f64, off: &Off, stepped_kg: f64) -> bool {
    let most_kg = most_kg(witness as usize, off.kg_per_unit);
    // A step back from being off the other way is no visitor. What a scale is off by without a step of its own is what another one
    // lied, or a leak: he who steps on then is one. A gauge has waves and lag in what it is off by, and foam is soon gone.
    let back_kg = |from_kg: f64| -from_kg * jump_kg.signum();
    let stands_kg = back_kg(off.kg - jump_kg);
    let back_kg = if witness == WitnessId::Scale { stands_kg.min(back_kg(stepped_kg)) } else { stands_kg };
    if back_kg > BACK_TO * jump_kg.abs() {
        return false;
    }
    match witness {
        _ if off.fills && (witness != WitnessId::Scale || jump_kg > 0.0) => false,
        WitnessId::Scale => jump_kg.abs() > PEOPLE_KG.0.max(JUMP_SIGMAS * off.sigma_kg) && jump_kg.abs() < most_kg,
        WitnessId::Tank => jump_kg > FOAM_SIGMAS * off.sigma_kg && jump_kg < most_kg,
        WitnessId::Flow => false,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::time::SECOND_NS;

    const BLOCK_S: usize = 5;

    fn off(witness: WitnessId, kg: f64) -> Off {
        let kg_per_unit = if witness == WitnessId::Tank { 10_000.0 } else { 1.0 };
        Off { kg, sigma_kg: 5.0, kg_per_unit, fills: false, stands: false }
    }

    /// A deck clear for a minute, then so much on it at so many s after the first stepped on; when it was excused, s after that.
    fn excused_s(witness: WitnessId, until_s: u64, on_deck_kg: impl Fn(u64) -> f64) -> Vec<u64> {
        let (mut disturbance, first_s) = (Disturbance::fresh(), 60);
        let mut excused = Vec::new();
        for s in (0..first_s + until_s).step_by(BLOCK_S) {
            let kg = if s < first_s { 0.0 } else { on_deck_kg(s - first_s) };
            let off = off(witness, kg);
            disturbance.block(witness, EngineTime(s * SECOND_NS), &off, None);
            if disturbance.excused().is_some() {
                excused.push(s - first_s);
            }
        }
        excused
    }

    /// Var[x(t + T) - x(t)] of an Ornstein-Uhlenbeck process is 2 s2 (1 - exp(-T/tau)) (Papoulis 1991, ch. 9): of noise with a memory of
    /// 15 s two readings 15 s apart share exp(-1). People make no less than 40 kg.
    #[test]
    fn readings_close_upon_each_other_share_their_slow_noise() {
        let errors = Errors { white_kg: 12.0, slow_kg: 15.0, slow_s: 15.0, ..Errors::default() };
        let expected = |share: f64| 4.0 * (2.0 * (144.0 + 225.0 * (1.0 - share))).sqrt();
        assert!((clear_kg(TANK, &errors, 15.0) - expected((-1.0_f64).exp())).abs() < 1e-9);
        assert!((clear_kg(TANK, &errors, 0.0) - expected(1.0)).abs() < 1e-9);
        assert!((clear_kg(TANK, &errors, 1e9) - expected(0.0)).abs() < 1e-9);
        assert!((clear_kg(SCALE, &Errors::default(), 5.0) - 40.0).abs() < 1e-9);
    }

    /// docs/method.md, "Disturbed": one alone has 200 s on the scale, foam 90 s on the gauge.
    #[test]
    fn an_excuse_ends() {
        let alone = excused_s(WitnessId::Scale, 800, |_| -80.0);
        assert_eq!((alone[0], alone.last().copied()), (0, Some(200)), "{alone:?}");
        let foam = excused_s(WitnessId::Tank, 800, |_| 200.0);
        assert_eq!((foam[0], foam.last().copied()), (0, Some(90)), "{foam:?}");
    }

    /// The same: 400 s in all, whoever joins, and however late.
    #[test]
    fn those_who_come_one_after_the_other_are_excused_for_400_s_in_all() {
        let joining = |s: u64| match s {
            ..190 => -80.0,
            190..380 => -150.0,
            _ => -230.0,
        };
        let together = excused_s(WitnessId::Scale, 800, joining);
        let whole: Vec<u64> = (0..=400_u64).step_by(BLOCK_S).collect();
        assert_eq!(together, whole, "from the first who stepped on, without a break, and no longer");
    }

    #[test]
    fn who_leaves_ends_it_and_who_comes_again_has_his_own() {
        let visits = excused_s(WitnessId::Scale, 800, |s| if (100..200).contains(&s) { 0.0 } else { -80.0 });
        assert!(visits.contains(&95) && !visits.contains(&150), "{visits:?}");
        assert_eq!(visits.last().copied(), Some(400), "200 s from the second visit on: {visits:?}");
    }

    /// Off by so much at every block of the scale; whether it is excused after each.
    fn excused(off_kg: &[f64], other: impl Fn(usize) -> Option<Jump>) -> Vec<bool> {
        let mut disturbance = Disturbance::fresh();
        let blocks = off_kg.iter().enumerate().map(|(i, kg)| {
            let at = EngineTime((i * BLOCK_S) as u64 * SECOND_NS);
            disturbance.block(WitnessId::Scale, at, &off(WitnessId::Scale, *kg), other(i));
            disturbance.excused().is_some()
        });
        blocks.collect()
    }

    /// What a scale is off by crept in, 4 kg a block, or was another one's lie: who steps on then is a visitor. Where a step of its
    /// own put it there, which outstayed its excuse, a step back is none.
    #[test]
    fn a_step_back_needs_a_step() {
        let crept: Vec<f64> = (0..70).map(|i| 4.0 * f64::from(i.min(25))).collect();
        let stepped: Vec<f64> = (0..70).map(|i| if i < 10 { 0.0 } else { 100.0 }).collect();
        let then = |before: &[f64], by_kg: f64| excused(&[before, &[before[69] + by_kg]].concat(), |_| None);
        assert!(!then(&crept, 0.0).contains(&true));
        assert_eq!(then(&crept, -90.0)[70..], [true]);
        assert_eq!(then(&stepped, 0.0).iter().filter(|excused| **excused).count(), 41, "200 s");
        assert_eq!(then(&stepped, -90.0)[70..], [false]);
        assert_eq!(then(&stepped, 90.0)[70..], [true], "further off is no step back");
    }

    /// The other one jumped alike: now, and it is the meter; long before, and it is another matter.
    #[test]
    fn a_jump_from_before_is_not_the_meters() {
        let steps_on = [vec![0.0; 20], vec![-90.0; 3]].concat();
        let jumped = |since_block: usize| {
            Some(Jump { kg: -90.0, since: EngineTime((since_block * BLOCK_S) as u64 * SECOND_NS) })
        };
        assert!(!excused(&steps_on, |i| jumped(20).filter(|_| i >= 20))[20..].contains(&true));
        assert_eq!(excused(&steps_on, |i| jumped(8).filter(|_| i >= 8))[20..], [true; 3]);
    }

    /// Foam of 200 kg that falls to 130 kg has 90 s more, and 400 s in all; what stands still has not.
    #[test]
    fn foam_that_falls_was_foam() {
        let falls = excused_s(WitnessId::Tank, 800, |s| if s < 60 { 200.0 } else { 130.0 });
        assert_eq!(falls.last().copied(), Some(150), "{falls:?}");
        let by_and_by = excused_s(WitnessId::Tank, 800, |s| 590.0 - 20.0 * (s / 20) as f64);
        assert_eq!(by_and_by.last().copied(), Some(400), "{by_and_by:?}");
    }

    /// In the block in which he steps off the scale shows part of him: it takes no part, and no jump is measured from it.
    #[test]
    fn the_block_of_the_return_takes_no_part() {
        let mut disturbance = Disturbance::fresh();
        let mut out = |i: usize, kg: f64| {
            let at = EngineTime((i * BLOCK_S) as u64 * SECOND_NS);
            disturbance.block(WitnessId::Scale, at, &off(WitnessId::Scale, kg), None);
            (disturbance.is_out(), disturbance.excused().is_some())
        };
        assert!((0..20).all(|i| out(i, 0.0) == (false, false)));
        assert!((20..30).all(|i| out(i, -90.0) == (true, true)));
        assert_eq!(out(30, -25.0), (true, false), "he was there for a second and a half");
        assert_eq!(out(31, 0.0), (false, false));
    }

    /// One who stepped on while the scale was not heard leaves as it is heard again: nothing is excused by that, and the next one is.
    #[test]
    fn who_came_unseen_goes_without_an_excuse() {
        let mut disturbance = Disturbance::fresh();
        (0..=GONE).for_each(|_| disturbance.absent());
        let mut excused = |i: usize, kg: f64| {
            let at = EngineTime((i * BLOCK_S) as u64 * SECOND_NS);
            disturbance.block(WitnessId::Scale, at, &off(WitnessId::Scale, kg), None);
            disturbance.excused().is_some()
        };
        assert!((40..42).all(|i| !excused(i, -90.0)));
        assert!((42..60).all(|i| !excused(i, 0.0)), "he has gone");
        assert!((60..70).all(|i| excused(i, -90.0)), "another comes");
    }

    /// A step that is too large for people passes through every smaller size while the blocks from before it go by.
    #[test]
    fn what_was_too_large_for_a_visit_is_none_as_it_ages() {
        let stepped = excused(&[vec![0.0; 20], vec![400.0; 20]].concat(), |_| None);
        assert_eq!(stepped, [false; 40]);
        let visit = excused(&[vec![0.0; 20], vec![250.0; 5]].concat(), |_| None);
        assert_eq!(visit[20..], [true; 5]);
    }

    /// A gauge that has come back by 1.6 t and is being learnt about, 30 kg a block, is in time lower than the mean of the blocks before:
    /// that is no jump downwards, and nobody who steps on meanwhile is the meter's. A step is one at once.
    #[test]
    fn what_fades_from_a_step_is_no_jump_the_other_way() {
        let jumped = |off_kg: &dyn Fn(usize) -> f64| {
            let mut gauge = Disturbance::fresh();
            (0..50).fold(None, |last, i| {
                let at = EngineTime((i * BLOCK_S) as u64 * SECOND_NS);
                let off = off(WitnessId::Tank, off_kg(i));
                let down = gauge.clear_jump(at, &off).filter(|jump| jump.kg < 0.0);
                gauge.block(WitnessId::Tank, at, &off, None);
                last.or(down.map(|_| i))
            })
        };
        let fades = |i: usize| if i < 20 { 0.0 } else { 1600.0 - 30.0 * (i - 20) as f64 };
        assert_eq!(jumped(&fades), None);
        assert_eq!(jumped(&|i| fades(i) - if i < 40 { 0.0 } else { 90.0 }), Some(40));
    }

    /// What a witness was excused for against a meter that stood is no visit; what it was before is.
    #[test]
    fn an_excuse_against_a_meter_that_stood_is_none() {
        let begun = |since_s: u64| {
            let mut disturbance = Disturbance::fresh();
            for i in 0..24_usize {
                let at = EngineTime((i * BLOCK_S) as u64 * SECOND_NS);
                let kg = if i < 20 { 0.0 } else { 90.0 };
                disturbance.block(WitnessId::Scale, at, &off(WitnessId::Scale, kg), None);
            }
            assert!(disturbance.excused().is_some());
            disturbance.meter_stood(EngineTime(since_s * SECOND_NS));
            disturbance.excused().is_some()
        };
        assert!(!begun(95));
        assert!(begun(110), "it was there before the meter stood");
    }

    /// Who leaves does so at once; what creeps back within minutes is no leaving.
    #[test]
    fn nobody_leaves_by_and_by() {
        let creeps = (0..30).map(|i| (3.0 * f64::from(i) - 90.0).min(0.0));
        let excused_then = excused(&[vec![0.0; 20], creeps.collect()].concat(), |_| None);
        assert_eq!(excused_then[20..50], [true; 30], "for 145 s");
        let leaves = [vec![0.0; 20], vec![-90.0; 10], vec![0.0; 2]].concat();
        assert_eq!(excused(&leaves, |_| None)[29..], [true, false, false]);
    }
}
