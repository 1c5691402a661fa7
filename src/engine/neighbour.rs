//! Other bays that fill one of this bay's tanks.
//!
//! What a neighbour brings is in the gauge and not in this bay's trailer. The accounting takes it off the tank's rise;
//! the margin counts the most that may be in and the most that may still come. What this module believes:
//!
//! - a neighbour's word is by its own flow meter and scale, so that nothing the shared gauge says is counted twice;
//! - two of its masses share their errors but for the white parts, so that the uncertainty of a difference is at most
//!   that of the later one and the white part of the earlier;
//! - between two of its words mass moves in a straight line, after the last one at its rate, until it is silent;
//! - a silent one has moved something between nothing and the fastest it could, and no more than its load: a
//!   rectangular distribution (JCGM 100:2008, 4.3.7), never nothing.

use super::frame::{Estimate, NeighbourState, Phase, Reason, Source, Validity};
use super::input::{BroughtSince, CarriedNeighbour, Neighbour, NeighbourLoad};
use super::settings::{NeighbourSetup, Settings};
use super::witness::Account;
use crate::time::EngineTime;

/// Words come every second; one that is older than this is too old to go by, s.
const HEARD_WITHIN_S: f64 = 10.0;

/// A load that has not yet shown how fast it comes is taken to come this fast, kg/s: the most that is plausible of a
/// trailer's line.
const PLAUSIBLE_KG_PER_S: f64 = 20.0;

/// Share of what is taken to have moved since its last word that counts as standard uncertainty: as for a gauge's lag.
const SINCE_U: f64 = 0.3;

/// Words looked back on, one a second: longer than any usual gauge's lag.
const WORDS: usize = 64;

/// Every neighbour, in the order of the settings.
#[derive(Debug, Clone)]
pub struct Neighbours(Vec<Known>);

/// What the neighbours have brought into a tank since our transfer started, as its gauge shows it.
#[derive(Debug, Clone, Copy)]
pub struct Brought {
    kg: Estimate,
    white_kg: f64,
    doubt: Option<Reason>,
}

/// What the margin must count of the neighbours.
#[derive(Debug, Clone, Copy, Default)]
pub struct Claimed {
    /// The most that they have brought since our start, kg.
    pub most_kg: Estimate,
    /// The most that they may still bring, kg.
    pub rest_kg: Estimate,
    /// How fast that may come, kg/s.
    pub fastest_kg_per_s: f64,
}

/// What is known of one.
#[derive(Debug, Clone)]
struct Known {
    tank: u16,
    heard: Option<EngineTime>,
    load: Option<NeighbourLoad>,
    /// What its load had brought when, newest first.
    words: [(EngineTime, Estimate); WORDS],
    count: usize,
    since: Option<BroughtSince>,
}

impl Neighbours {
    /// None of them heard yet; `carried` is what was known in the segment before.
    #[must_use]
    pub fn new(settings: &Settings, carried: &[CarriedNeighbour]) -> Neighbours {
        let known = |(i, setup): (usize, &NeighbourSetup)| {
            let before = carried.get(i);
            let load = before.and_then(|c| c.load.clone());
            let mut known = Known {
                tank: setup.tank,
                heard: None,
                since: before.and_then(|c| c.since),
                words: [(EngineTime(0), NOTHING); WORDS],
                count: 0,
                load: None,
            };
            known.hear(EngineTime(0), load);
            known
        };
        Neighbours(settings.neighbours.iter().enumerate().map(known).collect())
    }

    /// For the next segment.
    #[must_use]
    pub fn carry(&self) -> Vec<CarriedNeighbour> {
        self.0.iter().map(|k| CarriedNeighbour { load: k.load.clone(), since: k.since }).collect()
    }

    /// Takes a neighbour's word.
    pub fn take(&mut self, word: &Neighbour) {
        if let Some(known) = self.0.get_mut(usize::from(word.neighbour)) {
            known.take(word);
        }
    }

    /// A transfer of ours starts: what is in by then is in the start reading. `seen` is the moment that the gauge's
    /// start reading shows.
    pub fn start(&mut self, seen: EngineTime, now: EngineTime) {
        for known in &mut self.0 {
            known.start(seen, now);
        }
    }

    /// What they have brought into a tank since our start, `seen` being the moment that its gauge shows; None where no
    /// other bay fills it. `density` is that of our own liquid, kg/m3: a neighbour's takes up room by its own.
    #[must_use]
    pub fn brought(&self, tank: u16, seen: EngineTime, now: EngineTime, density: f64) -> Option<Brought> {
        let each = self.of(tank).map(|k| k.brought(seen, now).times(k.share(density)));
        each.reduce(|a, b| Brought {
            kg: plus(a.kg, b.kg),
            white_kg: root_sum(a.white_kg, b.white_kg),
            doubt: a.doubt.or(b.doubt),
        })
    }

    /// One of them has brought something into the tank since our start: a disagreement may be of its making.
    #[must_use]
    pub fn take_part(&self, tank: u16, now: EngineTime) -> bool {
        self.of(tank).any(|k| k.since.is_some() && k.brought(now, now).kg.value > 0.0)
    }

    /// What the margin must count; None while one of them has not been heard at all. A silent one's last words stay:
    /// the most that was in and the most that was to come are the whole of its load, wherever it is by now.
    #[must_use]
    pub fn claimed(&self, tank: u16) -> Option<Claimed> {
        self.of(tank).try_fold(Claimed::default(), |sum, known| {
            let one = known.claimed()?;
            Some(Claimed {
                most_kg: plus(sum.most_kg, one.most_kg),
                rest_kg: plus(sum.rest_kg, one.rest_kg),
                fastest_kg_per_s: sum.fastest_kg_per_s + one.fastest_kg_per_s,
            })
        })
    }

    /// As the frame shows them.
    #[must_use]
    pub fn frame(&self, now: EngineTime) -> Vec<NeighbourState> {
        (0u16..).zip(&self.0).map(|(i, known)| known.frame(i, now)).collect()
    }

    fn of(&self, tank: u16) -> impl Iterator<Item = &Known> {
        self.0.iter().filter(move |k| k.tank == tank)
    }
}

impl Brought {
    fn times(self, share: f64) -> Brought {
        let kg = Estimate { value: self.kg.value * share, u: self.kg.u * share };
        Brought { kg, white_kg: self.white_kg * share, doubt: self.doubt }
    }

    /// The tank's account of its rise less what was not ours.
    #[must_use]
    pub fn taken_off(&self, mut account: Account) -> Account {
        account.received_kg = account.received_kg.map(|kg| kg - self.kg.value);
        account.budget.add(Source::Neighbour, -self.kg.u);
        account.white_kg = root_sum(account.white_kg, self.white_kg);
        if let (Validity::Good, Some(reason)) = (account.validity, self.doubt) {
            account.validity = Validity::Doubtful(reason);
        }
        account
    }
}

impl Known {
    fn take(&mut self, word: &Neighbour) {
        let before = self.load.as_ref();
        let same = before.zip(word.load.as_ref()).is_some_and(|(a, b)| (&a.delivery, a.leg) == (&b.delivery, b.leg));
        if !same && before.is_some() {
            self.end_load();
        }
        if self.heard.is_none()
            && let Some(since) = &mut self.since
        {
            since.start_kg = since.start_kg.or(so_far_at_first(word.load.as_ref()));
        }
        self.hear(word.at, word.load.clone());
        self.heard = Some(word.at);
    }

    fn hear(&mut self, at: EngineTime, load: Option<NeighbourLoad>) {
        let received = load.as_ref().and_then(|l| if l.phase == Phase::Opened { Some(NOTHING) } else { l.received_kg });
        if let Some(received) = received
            && (self.count == 0 || at > self.words[0].0)
        {
            self.words.rotate_right(1);
            self.words[0] = (at, received);
            self.count = (self.count + 1).min(WORDS);
        }
        self.load = load;
    }

    /// Its load is over: what it brought stays in the tank.
    fn end_load(&mut self) {
        if let (Some(since), Some(load)) = (&mut self.since, &self.load) {
            let received = if self.count > 0 { self.words[0].1 } else { halfway(load.most_kg.value) };
            let start = since.start_kg.unwrap_or_else(|| halfway(received.value));
            // By the same instruments as what comes after it: the errors add.
            since.earlier_kg = Estimate {
                value: since.earlier_kg.value + received.value - start.value,
                u: since.earlier_kg.u + received.u + start.u,
            };
            since.earlier_most_kg += load.most_kg.value - since.start_least_kg;
            (since.start_kg, since.start_least_kg) = (Some(NOTHING), 0.0);
        }
        self.count = 0;
    }

    fn start(&mut self, seen: EngineTime, now: EngineTime) {
        let (then, by_now) = (self.so_far(seen, now), self.so_far(now, now));
        let start = Estimate { value: then.kg.value, u: root_sum(then.white_kg, then.guessed_u_kg) };
        let least_kg = self.load.as_ref().map_or(0.0, |l| l.least_kg.value);
        self.since = Some(BroughtSince {
            start_kg: self.heard.map(|_| start),
            start_least_kg: least_kg - (by_now.kg.value - then.kg.value).max(0.0),
            ..FROM_NOTHING
        });
    }

    /// What its present load had brought at a moment, by its words and what must be guessed.
    fn so_far(&self, seen: EngineTime, now: EngineTime) -> SoFar {
        let Some(load) = &self.load else { return SoFar::default() };
        let words = &self.words[..self.count];
        let Some(&(newest, last)) = words.first() else {
            let guess = halfway(load.most_kg.value + load.rest_kg.value);
            return SoFar { kg: Estimate { value: guess.value, u: 0.0 }, white_kg: 0.0, guessed_u_kg: guess.u };
        };
        let white_kg = if load.phase == Phase::Opened { 0.0 } else { load.white_kg };
        let so_far =
            |value: f64, guessed_u_kg: f64| SoFar { kg: Estimate { value, u: last.u }, white_kg, guessed_u_kg };
        if seen <= newest {
            return so_far(between(words, seen), 0.0);
        }
        let since_s = seen.since_s(newest);
        let speechless = self.silent(now) || load.phase == Phase::Transfer && load.received_kg.is_none();
        if load.phase == Phase::Closed {
            so_far(last.value, 0.0)
        } else if speechless {
            let fastest = if load.fastest_kg_per_s > 0.0 { load.fastest_kg_per_s } else { PLAUSIBLE_KG_PER_S };
            let guess = halfway((fastest * since_s).min(load.rest_kg.value));
            so_far(last.value + guess.value, guess.u)
        } else {
            let moved = load.rate_kg_per_s * since_s;
            so_far(last.value + moved, SINCE_U * moved)
        }
    }

    fn brought(&self, seen: EngineTime, now: EngineTime) -> Brought {
        let so_far = self.so_far(seen, now);
        let since = self.since.unwrap_or(FROM_NOTHING);
        let start = since.start_kg.unwrap_or_else(|| halfway(so_far.kg.value));
        let value = since.earlier_kg.value + so_far.kg.value - start.value;
        let u = root_sum(root_sum(since.earlier_kg.u + so_far.kg.u, start.u), so_far.guessed_u_kg);
        let white_kg = root_sum(so_far.white_kg, so_far.guessed_u_kg);
        Brought { kg: Estimate { value, u }, white_kg, doubt: self.doubt(now) }
    }

    /// A kilogram of its liquid takes the room of so many of ours.
    fn share(&self, density: f64) -> f64 {
        self.load.as_ref().and_then(|l| l.density_kg_per_m3).map_or(1.0, |theirs| density / theirs)
    }

    fn doubt(&self, now: EngineTime) -> Option<Reason> {
        let load = self.load.as_ref();
        if self.silent(now) {
            Some(Reason::NeighbourNotHeard)
        } else if load.is_some_and(|l| l.phase != Phase::Opened && l.received_kg.is_none()) {
            Some(Reason::NeighbourUnknown)
        } else if load.is_some_and(|l| l.at_odds) {
            Some(Reason::NeighbourAtOdds)
        } else {
            None
        }
    }

    fn silent(&self, now: EngineTime) -> bool {
        self.heard.is_none_or(|heard| now.since_s(heard) > HEARD_WITHIN_S)
    }

    fn claimed(&self) -> Option<Claimed> {
        let since = self.since.unwrap_or(FROM_NOTHING);
        let Some(load) = &self.load else {
            let most_kg = Estimate { value: since.earlier_most_kg, u: since.earlier_kg.u };
            return self.heard.map(|_| Claimed { most_kg, ..Claimed::default() });
        };
        let value = since.earlier_most_kg + load.most_kg.value - since.start_least_kg;
        let most_kg = Estimate { value, u: since.earlier_kg.u + load.most_kg.u };
        Some(Claimed { most_kg, rest_kg: load.rest_kg, fastest_kg_per_s: load.fastest_kg_per_s })
    }

    fn frame(&self, index: u16, now: EngineTime) -> NeighbourState {
        let load = self.load.as_ref();
        NeighbourState {
            neighbour: index,
            heard_at: self.heard,
            silent: self.silent(now),
            phase: load.map_or(Phase::Idle, |l| l.phase),
            rate_kg_per_s: load.map_or(0.0, |l| l.rate_kg_per_s),
            brought_kg: self.since.map(|_| self.brought(now, now).kg),
            rest_kg: load.map_or(0.0, |l| l.rest_kg.value),
        }
    }
}

/// What a load had brought at a moment.
#[derive(Debug, Clone, Copy, Default)]
struct SoFar {
    kg: Estimate,
    white_kg: f64,
    /// Standard uncertainty of the part that no word confirms.
    guessed_u_kg: f64,
}

const NOTHING: Estimate = Estimate { value: 0.0, u: 0.0 };

/// Counted from the beginning of its load.
const FROM_NOTHING: BroughtSince =
    BroughtSince { start_kg: Some(NOTHING), start_least_kg: 0.0, earlier_kg: NOTHING, earlier_most_kg: 0.0 };

/// Something between nothing and this: rectangular, standard deviation most/sqrt(12) (JCGM 100:2008, 4.3.7).
fn halfway(most_kg: f64) -> Estimate {
    Estimate { value: most_kg / 2.0, u: most_kg.abs() / 12.0_f64.sqrt() }
}

/// What a load that is first heard of after our start had brought before it: nothing where it has not begun, otherwise
/// something between nothing and what is in.
fn so_far_at_first(load: Option<&NeighbourLoad>) -> Option<Estimate> {
    match load {
        Some(load) if load.phase != Phase::Opened => load.received_kg.map(|r| halfway(r.value)),
        _ => Some(NOTHING),
    }
}

/// Straight lines between words (newest first); the oldest before them.
fn between(words: &[(EngineTime, Estimate)], at: EngineTime) -> f64 {
    match words.windows(2).find(|pair| at >= pair[1].0) {
        Some([(later, high), (earlier, low)]) => {
            let share = at.since_s(*earlier) / later.since_s(*earlier);
            low.value + (high.value - low.value) * share.min(1.0)
        }
        _ => words.last().map_or(0.0, |(_, oldest)| oldest.value),
    }
}

fn root_sum(a: f64, b: f64) -> f64 {
    (a * a + b * b).sqrt()
}

/// Two neighbours err apart.
fn plus(a: Estimate, b: Estimate) -> Estimate {
    Estimate { value: a.value + b.value, u: root_sum(a.u, b.u) }
}
