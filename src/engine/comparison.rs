//! The witnesses held against each other: means of five ticks, one row for each witness beyond the first.
//!
//! The first row is the second witness less the first, the second row the third less the mean of the two weighted
//! by their white noise: so the rows' own noises are independent of each other, and a common mass drops out of both.
//! A witness that missed ticks of a block takes part with those it has: who steps on the deck while a device loses polls
//! is to be seen.

use super::bank::{Bank, Seen};
use super::block::BLOCK_TICKS;
use super::disturbance::{Disturbance, GONE, Off, RISING};
use super::filter::{self, Filter, STATES, Vector};
use super::frame::{Reason, Source, Validity, WitnessId};
use super::reconcile::Panel;
use super::witness::{Account, Errors};
use crate::time::EngineTime;
use std::collections::VecDeque;

const FLOW: usize = WitnessId::Flow as usize;
const SCALE: usize = WitnessId::Scale as usize;
const TANK: usize = WitnessId::Tank as usize;

/// A jump may have been rising for so long before it is seen to be one, s.
#[expect(clippy::cast_precision_loss, reason = "blocks")]
pub const RISING_S: f64 = ((RISING + 1) * BLOCK_TICKS) as f64;

/// Nothing is compared before one of them says so much, kg: while the line fills all say nothing.
const BEGINS_KG: f64 = 50.0;
/// What a block's row is off by counts no more than this many standard deviations, the first two times.
const CLIP_SIGMAS: f64 = 4.0;
/// What is further off than this teaches no more about the scatter.
const LEARN_SIGMAS: f64 = 3.0;
/// Memory of the scatter of the rows, s.
const SCATTER_MEMORY_S: f64 = 600.0;
/// Scatter that is believed, as a variance over the expected one.
const SCATTER: (f64, f64) = (0.7, 3.0);
/// Correlation of consecutive rows up to which they count as white.
const WHITE: f64 = 0.2;

/// What a tick adds to a block.
#[derive(Debug, Clone, Copy, Default)]
struct Sum {
    kg: f64,
    ticks: usize,
    /// Numbers of those ticks within the block, summed.
    numbers: usize,
    updates: usize,
    changed: Option<EngineTime>,
    /// What it said last within the block: what its mass feels, and what it may be off by.
    last: Option<Account>,
}

impl Sum {
    /// Its mean, brought by the rate from the middle of the ticks it has to that of the block; None: it missed them all.
    #[expect(clippy::cast_precision_loss, reason = "ten at most")]
    fn mean(&self, tick: &Tick, dt_s: f64) -> Option<f64> {
        let (n, block) = (self.ticks as f64, BLOCK_TICKS as f64);
        let late_ticks = self.numbers as f64 / n - (block - 1.0) / 2.0;
        (self.ticks > 0).then(|| self.kg / n - tick.rate_kg_per_s * late_ticks * dt_s / block)
    }
}

/// How a row scatters, in units of what the filter expects.
#[derive(Debug, Clone, Copy)]
struct Scatter {
    square: f64,
    product: f64,
    last: f64,
    beyond: i8,
}

impl Default for Scatter {
    fn default() -> Scatter {
        Scatter { square: 1.0, product: 0.0, last: 0.0, beyond: 0 }
    }
}

impl Scatter {
    /// Variance of the row over what the filter expects; coloured rows carry less news than their number says: a
    /// mean of rows with lag-one correlation r has (1 + r)/(1 - r) times the variance (Bartlett 1946).
    fn scale(&self) -> f64 {
        let r = (self.product / self.square).clamp(0.0, 0.8);
        let colour = if r > WHITE { (1.0 + r) / (1.0 - r) } else { 1.0 };
        self.square.clamp(SCATTER.0, SCATTER.1) * colour
    }

    fn learn(&mut self, off: f64, dt_s: f64) {
        let off = off.clamp(-LEARN_SIGMAS, LEARN_SIGMAS);
        let share = (dt_s / SCATTER_MEMORY_S).min(1.0);
        self.square += share * (off * off - self.square);
        self.product += share * (off * self.last - self.product);
        self.last = off;
    }

    /// An outlier of a block or two is clipped; what stands there a third time is none.
    fn clip(&mut self, off: f64) -> f64 {
        let side = if off > CLIP_SIGMAS { 1 } else { -i8::from(off < -CLIP_SIGMAS) };
        self.beyond = if side != 0 && self.beyond.signum() == side { (self.beyond + side).clamp(-3, 3) } else { side };
        if self.beyond.abs() > 2 { off } else { off.clamp(-CLIP_SIGMAS, CLIP_SIGMAS) }
    }
}

/// A row: what is held against what.
#[derive(Debug, Clone, Copy)]
struct Row {
    parts: [f64; 3],
    noise_kg2: f64,
}

/// What the rows have taught.
#[derive(Debug, Clone)]
struct Learnt {
    filter: Filter,
    bank: Bank,
    scatter: [Scatter; 2],
}

impl Learnt {
    /// A block goes by.
    fn pass(&mut self, begin: EngineTime, dt_s: f64, errors: &[Errors; 3]) {
        self.filter.predict(dt_s, errors);
        self.bank.block(begin, &filter::decay(dt_s, errors));
    }
}

/// The comparison of one transfer.
#[derive(Debug, Clone)]
pub struct Comparison {
    learnt: Learnt,
    /// What had been learnt before the latest blocks, newest first, with when each began and how long it was.
    before: VecDeque<(Box<Learnt>, EngineTime, f64)>,
    disturbances: [Disturbance; 3],
    /// Scale and tank are held against the meter, not against each other.
    by_meter: bool,
    /// When the meter's register changed last.
    meter_changed: Option<EngineTime>,
    /// What was believed of the errors before each of them was excused: what is learnt of the others' meanwhile makes
    /// nobody leave.
    when_excused: [Option<Box<Filter>>; 3],
    sums: [Sum; 3],
    ticks: usize,
    begin: EngineTime,
    starts: [f64; 3],
    /// What each witness stands on.
    signals: [Option<u16>; 3],
    /// Something has moved.
    begun: bool,
    /// What passed while the meter's total was away, as far as it is not known, kg; and blocks until the meter, for which that
    /// has grown, tells of jumps again: what the others were off by against it counts no more.
    gap_kg: f64,
    meter_new: usize,
}

/// What a tick brings.
#[derive(Debug, Clone, Copy)]
pub struct Tick<'a> {
    /// Now.
    pub at: EngineTime,
    /// What the witnesses say.
    pub accounts: &'a [Account; 3],
    /// Since when each one's signal has been what it is.
    pub changed: [Option<EngineTime>; 3],
    /// How fast the mass moves, kg/s.
    pub rate_kg_per_s: f64,
    /// Any of them says that it moves: one that stands pulls the rate down.
    pub moves: bool,
    /// How much is in by all of them, kg.
    pub received_kg: f64,
    /// Statistic above which a fault is looked at: the scatter is not learnt while one grows.
    pub watchful: f64,
}

impl Comparison {
    /// Before anything was compared.
    #[must_use]
    pub fn new(at: EngineTime) -> Comparison {
        Comparison {
            learnt: Learnt { filter: Filter::default(), bank: Bank::new(at), scatter: Default::default() },
            before: VecDeque::new(),
            disturbances: [0; 3].map(|_| Disturbance::fresh()),
            by_meter: true,
            meter_changed: None,
            when_excused: [const { None }; 3],
            begun: false,
            gap_kg: 0.0,
            meter_new: 0,
            sums: Default::default(),
            ticks: 0,
            begin: at,
            starts: [0.0; 3],
            signals: [None; 3],
        }
    }

    /// Faults that were looked for.
    #[must_use]
    pub fn bank(&self) -> &Bank {
        &self.learnt.bank
    }

    /// Which witnesses are excused now.
    #[must_use]
    pub fn excused(&self) -> [bool; 3] {
        [0, 1, 2].map(|i| self.disturbances[i].excused().is_some())
    }

    /// The credible witnesses that are not excused, with the errors that they state.
    #[must_use]
    pub fn panel(&self, accounts: &[Account; 3]) -> Panel {
        let excused = self.excused();
        (0..3).filter(|&i| excused[i]).fold(Panel::credible(accounts), |panel, i| panel.without(i))
    }

    /// Takes what the witnesses say; true when a block is full and was compared.
    pub fn tick(&mut self, tick: &Tick) -> bool {
        for (i, account) in tick.accounts.iter().enumerate() {
            if self.signals[i].is_some_and(|before| account.signal.is_some_and(|now| now != before)) {
                self.stands_elsewhere(i);
            }
            self.signals[i] = account.signal.or(self.signals[i]);
        }
        for (i, (sum, account)) in self.sums.iter_mut().zip(tick.accounts).enumerate() {
            if let Some(credible) = account.credible().filter(|_| !guessed(account)) {
                sum.kg += credible.value + tick.rate_kg_per_s * account.errors.age_s;
                sum.ticks += 1;
                sum.numbers += self.ticks;
                sum.updates += usize::from(sum.changed != tick.changed[i]);
                sum.last = Some(*account);
            }
            sum.changed = tick.changed[i];
        }
        self.meter_changed = tick.changed[FLOW].or(self.meter_changed);
        self.ticks += 1;
        if self.ticks < BLOCK_TICKS {
            return false;
        }
        self.block(tick);
        self.ticks = 0;
        self.begin = tick.at;
        for sum in &mut self.sums {
            *sum = Sum { changed: sum.changed, ..Sum::default() };
        }
        true
    }

    fn block(&mut self, tick: &Tick) {
        let accounts = [0, 1, 2].map(|i| self.sums[i].last.unwrap_or(tick.accounts[i]));
        let errors = accounts.map(|a| a.errors);
        self.restart(&errors);
        let dt_s = tick.at.since_s(self.begin);
        self.keep(dt_s);
        self.learnt.pass(self.begin, dt_s, &errors);
        let means = self.sums.map(|sum| sum.mean(tick, dt_s));
        let noise_kg2 = [0, 1, 2].map(|i| {
            #[expect(clippy::cast_precision_loss, reason = "five at most")]
            let updates = self.sums[i].updates.max(1) as f64;
            errors[i].white_kg * errors[i].white_kg / updates
        });
        let feels = [0, 1, 2].map(|i| filter::feels(&accounts[i], i));
        self.begun |= means.iter().flatten().any(|kg| *kg > BEGINS_KG);
        let stands = self.sums[FLOW].updates == 0 && tick.moves;
        if self.look_for_disturbances((tick.at, stands), &accounts, &means, &feels, &noise_kg2) {
            self.take_back(&errors);
        }
        // Who steps on the deck before anything comes in is seen all the same.
        if !self.begun {
            return;
        }
        let there = [0, 1, 2].map(|i| means[i].filter(|_| !self.disturbances[i].is_out()));
        let middle = tick.at.plus_s(-dt_s / 2.0);
        let stays = self.disturbances.iter().any(Disturbance::stays);
        let Learnt { filter, bank, scatter } = &mut self.learnt;
        let steady = bank.best().iter().flatten().all(|fit| fit.statistic < tick.watchful);
        for (row, scatter) in rows(&there, &noise_kg2).iter().zip(scatter) {
            let Some(row) = row else { continue };
            let (h, value) = (mixed(row, &feels), total(row, &there));
            let expected = filter.expect(&h, row.noise_kg2);
            let sigma = (expected.variance * scatter.scale()).sqrt();
            let off = (value - expected.value) / sigma;
            if steady {
                scatter.learn((value - expected.value) / expected.variance.sqrt(), dt_s);
            }
            let off_kg = if stays { off } else { scatter.clip(off) } * sigma;
            bank.take(middle, tick.received_kg, &Seen::new(row.parts, h, &expected, off_kg, scatter.scale()));
            filter.take(&expected, off_kg);
        }
    }

    /// Keeps what had been learnt before this block; the oldest of them makes way, and its memory is used again.
    fn keep(&mut self, dt_s: f64) {
        if self.before.len() <= RISING {
            self.before.push_front((Box::new(self.learnt.clone()), self.begin, dt_s));
            return;
        }
        self.before.rotate_right(1);
        self.before[0].0.filter.clone_from(&self.learnt.filter);
        self.before[0].0.bank.clone_from(&self.learnt.bank);
        (self.before[0].0.scatter, self.before[0].1, self.before[0].2) = (self.learnt.scatter, self.begin, dt_s);
    }

    /// A jump was rising before it was seen to be one: what these blocks taught is forgotten.
    fn take_back(&mut self, errors: &[Errors; 3]) {
        let Some((learnt, ..)) = self.before.back().cloned() else { return };
        self.learnt = *learnt;
        for (_, begin, dt_s) in self.before.iter().rev() {
            self.learnt.pass(*begin, *dt_s, errors);
        }
        self.before.clear();
    }

    /// A person gave a witness a new zero. What it was off by has been put down to everything that could explain it: that is
    /// forgotten, of all of them.
    pub fn start_anew(&mut self, witness: usize) {
        self.learnt.filter = Filter::default();
        self.learnt.bank = Bank::new(self.begin);
        self.forget_jumps(witness);
        self.sums[witness] = Sum::default();
        self.starts[witness] = 0.0;
    }

    /// A witness stands on another signal than before: what was known of the old one's errors is forgotten.
    fn stands_elsewhere(&mut self, witness: usize) {
        self.learnt.filter.start_anew(witness);
        self.learnt.bank.forget(witness);
        self.forget_jumps(witness);
        self.sums[witness] = Sum::default();
        self.starts[witness] = 0.0;
    }

    /// A witness whose start reading was taken anew has nothing to do with what was known of the old one.
    fn restart(&mut self, errors: &[Errors; 3]) {
        for (i, errors) in errors.iter().enumerate() {
            let before_kg = std::mem::replace(&mut self.starts[i], errors.start_kg);
            if before_kg > 0.0 && errors.start_kg > 1.5 * before_kg {
                self.learnt.filter.start_anew(i);
                self.learnt.bank = Bank::new(self.begin);
                self.forget_jumps(i);
            }
        }
    }

    /// What was learnt before the latest blocks, and while one was excused, is of errors that are gone.
    fn forget_jumps(&mut self, witness: usize) {
        self.before.clear();
        self.when_excused = [const { None }; 3];
        self.disturbances[witness] = Disturbance::fresh();
    }

    /// The meter has been found frozen: excuses against it since it stood were its own doing.
    fn excuse_no_more(&mut self) {
        let Some(since) = self.meter_changed else { return };
        for (disturbance, believed) in self.disturbances.iter_mut().zip(&mut self.when_excused) {
            disturbance.meter_stood(since);
            *believed = believed.take().filter(|_| disturbance.excused().is_some());
        }
    }

    /// Scale and tank are each held against the meter, else against each other; true when an excuse begins. A meter that
    /// came back with part of its total lost says nothing of who stepped on meanwhile: for a while they are held against each
    /// other. `stands`: its register does, while mass moves.
    fn look_for_disturbances(
        &mut self,
        (at, stands): (EngineTime, bool),
        accounts: &[Account; 3],
        means: &[Option<f64>; 3],
        feels: &[Vector; 3],
        noise_kg2: &[f64; 3],
    ) -> bool {
        let gap_kg = accounts[FLOW].budget.0[Source::Gap as usize];
        self.meter_new = if gap_kg > self.gap_kg { GONE } else { self.meter_new.saturating_sub(1) };
        self.gap_kg = gap_kg;
        let pair = means[SCALE].is_some() && means[TANK].is_some();
        let by_meter = means[FLOW].is_some() && (self.meter_new == 0 || !pair);
        if self.by_meter && !by_meter && matches!(accounts[FLOW].validity, Validity::Lost(reason) if reason.is_repeat())
        {
            self.excuse_no_more();
        }
        self.by_meter = by_meter;
        // What a rising jump has taught already is left out.
        let filter = &self.before.back().map_or(&self.learnt, |(learnt, ..)| learnt).filter;
        let (fills, stands) = (!self.begun, by_meter && stands);
        let off = [SCALE, TANK].map(|i| {
            let other = if by_meter { FLOW } else { SCALE + TANK - i };
            let mut parts = [0.0; 3];
            parts[i] = 1.0;
            parts[other] = -1.0;
            let row = Row { parts, noise_kg2: noise_kg2[i] + noise_kg2[other] };
            let believed = self.when_excused[i].as_deref().unwrap_or(filter);
            let kg = means[i]? - means[other]? - believed.lasting(&mixed(&row, feels));
            // The meter's own is nothing; of two that are held against each other both count.
            let slow = [i, other].map(|j| accounts[j].errors.slow_kg);
            let slow_kg2 = slow[0] * slow[0] + slow[1] * slow[1];
            // About the mean of up to eight blocks: white noise 1/8 more, noise with a memory about 1/3.
            let sigma_kg = (9.0 / 8.0 * row.noise_kg2 + 4.0 / 3.0 * slow_kg2).sqrt();
            Some(Off { kg, sigma_kg, kg_per_unit: accounts[i].kg_per_unit, fills, stands })
        });
        let jumps = [SCALE, TANK].map(|i| self.disturbances[i].clear_jump(at, &off[i - SCALE]?));
        let mut began = false;
        for (nth, (i, id)) in [(SCALE, WitnessId::Scale), (TANK, WitnessId::Tank)].into_iter().enumerate() {
            let other = if by_meter { jumps[1 - nth] } else { None };
            match off[nth] {
                Some(off) => began |= self.disturbances[i].block(id, at, &off, other),
                None => self.disturbances[i].absent(),
            }
            let excused = self.disturbances[i].excused().is_some();
            self.when_excused[i] =
                excused.then(|| self.when_excused[i].take().unwrap_or_else(|| Box::new(filter.clone())));
        }
        began
    }

    /// An excused witness is doubtful, whatever else; so is one that has not come back. Of two that are held against each other
    /// nobody can say at once which of them jumped.
    pub fn mark(&self, at: EngineTime, accounts: &mut [Account; 3]) {
        let excused = self.excused();
        let rises = |first: EngineTime| !self.by_meter && at.since_s(first) <= RISING_S;
        let either = self.disturbances.iter().filter_map(Disturbance::excused).any(rises);
        for (i, account) in accounts.iter_mut().enumerate().filter(|(_, a)| is_marked(a.validity)) {
            account.validity = match () {
                () if excused[i] || i != FLOW && either => Validity::Doubtful(Reason::Disturbed),
                () if self.disturbances[i].is_left_off(at) => Validity::Doubtful(Reason::NotBack),
                () => Validity::Good,
            };
        }
    }
}

/// Good, but for what is known of disturbances.
fn is_marked(validity: Validity) -> bool {
    matches!(validity, Validity::Good | Validity::Doubtful(Reason::Disturbed | Reason::NotBack))
}

/// Part of it rests on what nobody says: what another bay brought into the tank.
fn guessed(account: &Account) -> bool {
    use Reason::{NeighbourAtOdds, NeighbourNotHeard, NeighbourUnknown};
    matches!(account.validity, Validity::Doubtful(NeighbourAtOdds | NeighbourNotHeard | NeighbourUnknown))
}

/// The rows of the witnesses that are there.
fn rows(there: &[Option<f64>; 3], noise_kg2: &[f64; 3]) -> [Option<Row>; 2] {
    let mut present = (0..3).filter(|&i| there[i].is_some());
    let (Some(a), Some(b)) = (present.next(), present.next()) else { return [None; 2] };
    let mut parts = [0.0; 3];
    parts[a] = -1.0;
    parts[b] = 1.0;
    let first = Row { parts, noise_kg2: noise_kg2[a] + noise_kg2[b] };
    let second = present.next().map(|c| {
        let both = (noise_kg2[a] + noise_kg2[b]).max(f64::MIN_POSITIVE);
        let mut parts = [0.0; 3];
        parts[c] = 1.0;
        parts[a] = -noise_kg2[b] / both;
        parts[b] = -noise_kg2[a] / both;
        Row { parts, noise_kg2: noise_kg2[c] + noise_kg2[a] * noise_kg2[b] / both }
    });
    [Some(first), second]
}

fn mixed(row: &Row, feels: &[Vector; 3]) -> Vector {
    let mut h = [0.0; STATES];
    for (part, feels) in row.parts.iter().zip(feels) {
        h.iter_mut().zip(feels).for_each(|(h, feels)| *h += part * feels);
    }
    h
}

fn total(row: &Row, there: &[Option<f64>; 3]) -> f64 {
    row.parts.iter().zip(there).fold(0.0, |sum, (part, value)| sum + part * value.unwrap_or(0.0))
}
