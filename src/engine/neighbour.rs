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

use super::block::PLAUSIBLE_KG_PER_S;
use super::frame::{Estimate, NeighbourState, Phase, Reason, Source, Validity};
use super::input::{BroughtSince, CarriedNeighbour, Neighbour, NeighbourLoad};
use super::settings::{NeighbourSetup, Settings};
use super::witness::Account;
use crate::planted::{Bug, planted};
use crate::time::EngineTime;

/// Words come every second; one that is older than this is too old to go by, s.
const HEARD_WITHIN_S: f64 = 10.0;

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
    /// The part of the rest that silent ones may have brought since their last word, kg.
    pub moved_kg: f64,
    /// How fast the rest may come, kg/s.
    pub fastest_kg_per_s: f64,
}

/// What is known of one.
#[derive(Debug, Clone)]
struct Known {
    tank: u16,
    heard: Option<EngineTime>,
    load: Option<NeighbourLoad>,
    /// Density of what it brings, as last known, kg/m3.
    density_kg_per_m3: Option<f64>,
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
                density_kg_per_m3: None,
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

    /// A delivery of ours is opened: nothing is counted until its transfer starts.
    pub fn forget(&mut self) {
        self.0.iter_mut().for_each(|known| known.since = None);
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

    /// One of them may fill the tank as well.
    #[must_use]
    pub fn share(&self, tank: u16) -> bool {
        self.of(tank).next().is_some()
    }

    /// One of them has brought something into the tank since our start: a disagreement may be of its making.
    #[must_use]
    pub fn take_part(&self, tank: u16, now: EngineTime) -> bool {
        self.of(tank).any(|k| k.since.is_some() && k.brought(now, now).kg.value > 0.0)
    }

    /// What the margin must count; None while one of them has not been heard at all. A silent one's last words stay:
    /// the most that was in and the most that was to come are the whole of its load, wherever it is by now. `density`
    /// is that by which room is turned into mass, kg/m3: a lighter liquid takes more of it.
    #[must_use]
    pub fn claimed(&self, tank: u16, now: EngineTime, density: f64) -> Option<Claimed> {
        self.of(tank).try_fold(Claimed::default(), |sum, known| {
            let one = known.claimed(now)?.times(known.share(density).max(1.0));
            Some(Claimed {
                most_kg: plus(sum.most_kg, one.most_kg),
                rest_kg: plus(sum.rest_kg, one.rest_kg),
                moved_kg: sum.moved_kg + one.moved_kg,
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

impl Claimed {
    fn times(self, share: f64) -> Claimed {
        let times = |e: Estimate| Estimate { value: e.value * share, u: e.u * share };
        Claimed {
            most_kg: times(self.most_kg),
            rest_kg: times(self.rest_kg),
            moved_kg: self.moved_kg * share,
            fastest_kg_per_s: self.fastest_kg_per_s * share,
        }
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
        account.errors.white_kg = root_sum(account.errors.white_kg, self.white_kg);
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
        self.density_kg_per_m3 = load.as_ref().and_then(|l| l.density_kg_per_m3).or(self.density_kg_per_m3);
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
            let guess = halfway(may_have_moved_kg(load, since_s));
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
        self.density_kg_per_m3.map_or(1.0, |theirs| density / theirs)
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
        !planted(Bug::NeighbourNeverSilent) && self.heard.is_none_or(|heard| now.since_s(heard) > HEARD_WITHIN_S)
    }

    fn claimed(&self, now: EngineTime) -> Option<Claimed> {
        let since = self.since.unwrap_or(FROM_NOTHING);
        let Some(load) = &self.load else {
            let most_kg = Estimate { value: since.earlier_most_kg, u: since.earlier_kg.u };
            return self.heard.map(|_| Claimed { most_kg, ..Claimed::default() });
        };
        let value = since.earlier_most_kg + load.most_kg.value - since.start_least_kg;
        let most_kg = Estimate { value, u: since.earlier_kg.u + load.most_kg.u };
        let heard = self.heard.filter(|_| self.silent(now));
        let moved_kg = heard.map_or(0.0, |heard| may_have_moved_kg(load, now.since_s(heard)));
        Some(Claimed { most_kg, rest_kg: load.rest_kg, moved_kg, fastest_kg_per_s: load.fastest_kg_per_s })
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

/// The most that an open load can have brought in a time of which nothing is known, kg.
fn may_have_moved_kg(load: &NeighbourLoad, unknown_s: f64) -> f64 {
    let fastest = if load.fastest_kg_per_s > 0.0 { load.fastest_kg_per_s } else { PLAUSIBLE_KG_PER_S };
    (fastest * unknown_s).min(load.rest_kg.value)
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::engine::reconcile::Panel;
    use crate::engine::witness::{Budget, Errors};
    use crate::time::SECOND_NS;

    fn at(s: u64) -> EngineTime {
        EngineTime(s * SECOND_NS)
    }

    fn estimate(value: f64, u: f64) -> Estimate {
        Estimate { value, u }
    }

    fn load(delivery: &str, phase: Phase, kg: f64) -> NeighbourLoad {
        NeighbourLoad {
            delivery: delivery.into(),
            leg: 1,
            phase,
            received_kg: Some(estimate(kg, 10.0)),
            white_kg: 3.0,
            at_odds: false,
            rate_kg_per_s: if phase == Phase::Transfer { 5.0 } else { 0.0 },
            fastest_kg_per_s: 6.0,
            most_kg: estimate(kg + 30.0, 20.0),
            least_kg: estimate(kg - 20.0, 20.0),
            rest_kg: estimate(if phase == Phase::Closed { 0.0 } else { 3_000.0 - kg }, 25.0),
            density_kg_per_m3: Some(1500.0),
        }
    }

    fn neighbours() -> Neighbours {
        let words = [(at(0), NOTHING); WORDS];
        let (heard, load, density_kg_per_m3, since) = (None, None, None, None);
        Neighbours(vec![Known { tank: 0, heard, load, density_kg_per_m3, words, count: 0, since }])
    }

    fn hear(neighbours: &mut Neighbours, s: u64, load: Option<NeighbourLoad>) {
        neighbours.take(&Neighbour { neighbour: 0, at: at(s), load });
    }

    fn brought(neighbours: &Neighbours, s: u64) -> Estimate {
        neighbours.brought(0, at(s), at(s), 1500.0).expect("one fills it").kg
    }

    /// A straight line of 5 kg/s: read between words, after the last one, and from our start.
    #[test]
    fn what_is_brought_is_counted_from_our_start_and_read_between_words() {
        let mut one = neighbours();
        for s in 0..20 {
            hear(&mut one, 100 + s, Some(load("A", Phase::Transfer, 500.0 + 5.0 * s as f64)));
        }
        one.start(at(110), at(119));
        assert!((brought(&one, 119).value - 45.0).abs() < 1e-9);
        assert!((brought(&one, 121).value - 55.0).abs() < 1e-9, "two seconds more at its rate");
        let between = one.brought(0, EngineTime(112 * SECOND_NS + SECOND_NS / 2), at(119), 1500.0).expect("one").kg;
        assert!((between.value - 12.5).abs() < 1e-9);
        // Its own u and the white part of the start: sqrt(10^2 + 3^2).
        assert!((brought(&one, 119).u - 109.0_f64.sqrt()).abs() < 1e-9);
        // A lighter liquid takes more room than ours.
        let dense = one.brought(0, at(119), at(119), 1515.0).expect("one").kg;
        assert!((dense.value - 45.0 * 1.01).abs() < 1e-9);
        assert!(one.brought(1, at(119), at(119), 1500.0).is_none(), "another tank");
        let rest_kg = |density: f64| one.claimed(0, at(119), density).expect("heard").rest_kg.value;
        assert!((rest_kg(1515.0) / rest_kg(1500.0) - 1.01).abs() < 1e-9, "and more of the room");
        assert!((rest_kg(1485.0) / rest_kg(1500.0) - 1.0).abs() < 1e-9, "a denser one is given no credit");
    }

    /// A load that ends stays in the tank; the next one begins at nothing. Their errors are those of the same instruments.
    #[test]
    fn a_second_load_is_added_to_the_first() {
        let mut one = neighbours();
        hear(&mut one, 10, None);
        one.start(at(10), at(10));
        hear(&mut one, 20, Some(load("A", Phase::Transfer, 1_000.0)));
        hear(&mut one, 30, Some(load("A", Phase::Closed, 1_050.0)));
        assert!((brought(&one, 35).value - 1_050.0).abs() < 1e-9, "a closed one moves no more");
        hear(&mut one, 40, Some(load("B", Phase::Opened, 0.0)));
        hear(&mut one, 50, Some(load("B", Phase::Transfer, 200.0)));
        let both = brought(&one, 50);
        assert!((both.value - 1_250.0).abs() < 1e-9 && (both.u - 20.0).abs() < 1e-9, "{both:?}");
        let claimed = one.claimed(0, at(50), 1500.0).expect("heard");
        assert!((claimed.most_kg.value - (1_080.0 + 230.0)).abs() < 1e-9);
        assert!((claimed.rest_kg.value - 2_800.0).abs() < 1e-9);
        hear(&mut one, 60, None);
        assert!((brought(&one, 60).value - 1_250.0).abs() < 1e-9, "a load that is gone stays in the tank");
        one.forget();
        assert!(one.frame(at(60))[0].brought_kg.is_none());
    }

    /// Two neighbours on one tank: masses add, errors in quadrature, and the margin knows nothing while one is unheard.
    #[test]
    fn two_neighbours_add_up() {
        let mut two = neighbours();
        two.0.extend(neighbours().0);
        two.start(at(0), at(0));
        hear(&mut two, 1, Some(load("A", Phase::Opened, 0.0)));
        assert!(two.claimed(0, at(1), 1500.0).is_none(), "one of them may bring anything");
        two.take(&Neighbour { neighbour: 1, at: at(1), load: Some(load("B", Phase::Opened, 0.0)) });
        hear(&mut two, 2, Some(load("A", Phase::Closed, 400.0)));
        two.take(&Neighbour { neighbour: 1, at: at(2), load: Some(load("B", Phase::Closed, 300.0)) });
        // The first words after our start were of loads not begun.
        let both = brought(&two, 2);
        assert!((both.value - 700.0).abs() < 1e-9 && (both.u - 200.0_f64.sqrt()).abs() < 1e-9, "{both:?}");
        assert!((two.claimed(0, at(2), 1500.0).expect("both heard").most_kg.value - 760.0).abs() < 1e-9);
    }

    /// Rectangular between nothing and the fastest, no more than the rest of the load: mean m/2, u = m/sqrt(12).
    #[test]
    fn a_silent_one_has_moved_something() {
        let mut one = neighbours();
        one.start(at(0), at(0));
        hear(&mut one, 1, Some(load("A", Phase::Opened, 0.0)));
        hear(&mut one, 100, Some(load("A", Phase::Transfer, 600.0)));
        for (s, moved) in [(200, 600.0), (2_000, 2_400.0)] {
            let seen = one.brought(0, at(s), at(s), 1500.0).expect("one");
            assert!((seen.kg.value - (600.0 + moved / 2.0)).abs() < 1e-9, "{:?}", seen.kg);
            assert!((seen.kg.u - (100.0 + moved * moved / 12.0).sqrt()).abs() < 1e-9, "{:?}", seen.kg);
            assert_eq!(seen.doubt, Some(Reason::NeighbourNotHeard));
        }
        // What the margin counts is the whole of its load all the time, wherever it is by now.
        for (s, moved) in [(105, 0.0), (200, 600.0), (2_000, 2_400.0)] {
            let claimed = one.claimed(0, at(s), 1500.0).expect("heard once");
            assert!((claimed.most_kg.value + claimed.rest_kg.value - (630.0 + 2_400.0)).abs() < 1e-9);
            assert!((claimed.moved_kg - moved).abs() < 1e-9, "{claimed:?}");
        }
    }

    /// One that has a load ready and falls silent may have begun it, at the most that is plausible of a line.
    #[test]
    fn a_silent_one_may_have_begun() {
        let mut one = neighbours();
        hear(&mut one, 1, Some(load("A", Phase::Opened, 0.0)));
        one.start(at(2), at(2));
        let seen = brought(&one, 61);
        assert!((seen.value - 6.0 * 60.0 / 2.0).abs() < 1e-9, "{seen:?}");
        let mut slow = load("A", Phase::Opened, 0.0);
        slow.fastest_kg_per_s = 0.0;
        hear(&mut one, 62, Some(slow));
        let seen = brought(&one, 122);
        assert!((seen.value - PLAUSIBLE_KG_PER_S * 60.0 / 2.0).abs() < 1e-9, "{seen:?}");
    }

    /// First heard in the midst of its load, after our start: anything of it may have come before.
    #[test]
    fn one_first_heard_late_is_half_known() {
        let mut one = neighbours();
        one.start(at(10), at(10));
        assert!(one.claimed(0, at(15), 1500.0).is_none(), "it may bring anything");
        hear(&mut one, 20, Some(load("A", Phase::Transfer, 1_200.0)));
        let seen = brought(&one, 20);
        assert!((seen.value - 600.0).abs() < 1e-9 && (seen.u - 346.56).abs() < 0.01, "{seen:?}");
        // Neither meter nor scale, and no word before: anything up to the whole load.
        let mut dumb = neighbours();
        hear(&mut dumb, 5, Some(NeighbourLoad { received_kg: None, ..load("A", Phase::Transfer, 0.0) }));
        let seen = dumb.brought(0, at(6), at(6), 1500.0).expect("one");
        assert!((seen.kg.value - 3_030.0 / 2.0).abs() < 1e-9 && seen.doubt == Some(Reason::NeighbourUnknown));
    }

    /// The joint least squares of two meters, two scales and the rise, by its normal equations: eliminating the
    /// neighbour's mass leaves our meter, our scale and the rise less what the neighbour's two say together.
    #[test]
    fn the_rise_less_the_neighbour_is_the_joint_adjustment() {
        let (x1, x2, rise) = ([5_020.0, 4_950.0], [7_030.0, 6_980.0], 12_090.0);
        let (u1, u2, u_rise) = ([9.0, 22.0], [11.0, 18.0], 40.0);
        let weight = |u: f64| 1.0 / (u * u);
        let both = |x: [f64; 2], u: [f64; 2]| x[0] * weight(u[0]) + x[1] * weight(u[1]);
        let (w1, w2, wr) = (both([1.0; 2], u1), both([1.0; 2], u2), weight(u_rise));
        let (n11, n12, n22) = (w1 + wr, wr, w2 + wr);
        let (b1, b2) = (both(x1, u1) + wr * rise, both(x2, u2) + wr * rise);
        let determinant = n11 * n22 - n12 * n12;
        let joint = estimate((n22 * b1 - n12 * b2) / determinant, (n22 / determinant).sqrt());

        let account = |kg: f64, u: f64, source| {
            let mut budget = Budget::ZERO;
            budget.add(source, u);
            Account {
                validity: Validity::Good,
                received_kg: Some(kg),
                budget,
                errors: Errors::default(),
                division_kg: 1.0,
                kg_per_unit: 1.0,
                signal: None,
            }
        };
        let word = estimate(both(x2, u2) / w2, (1.0 / w2).sqrt());
        let brought = Brought { kg: word, white_kg: 0.0, doubt: None };
        let accounts = [
            account(x1[0], u1[0], Source::MeterGain),
            account(x1[1], u1[1], Source::ScaleSpan),
            brought.taken_off(account(rise, u_rise, Source::LevelReading)),
        ];
        let ours = Panel::credible(&accounts).combine().expect("three").received_kg;
        assert!((ours.value - joint.value).abs() < 1e-3 && (ours.u - joint.u).abs() < 1e-5, "{ours:?}, {joint:?}");
    }
}
