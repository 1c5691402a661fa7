//! The checks of a delivery before anything is connected: each met, not yet made, or failing, with the reason.
//!
//! A pure function of settings, papers, readings and people's entries. What only a person can see is an entry; a number
//! on a signal can speak against it, never for it. What is not known is "not yet", never met.

use super::frame::{Margin, MarginParts};
use super::input::EnteredCheck;
use super::papers::{Papers, Property, TankExpected};
use super::reading::Readings;
use super::settings::{DeliverySetup, Drive, PadTap, Settings, SignalKind};
use crate::time::WallTime;
use std::sync::Arc;

/// Nanoseconds in a day.
const DAY_NS: i64 = 86_400_000_000_000;

/// What is checked, in the order in which it is shown.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum CheckId {
    /// The product is the tank's, by papers and by the trailer's tag.
    Product,
    /// The shipping description is that of the product.
    ShippingDescription,
    /// The hazard marking is that of the product.
    HazardMarking,
    /// Every property of the certificate has a value within its limits.
    Certificate,
    /// The seals' numbers are those of the papers.
    SealNumbers,
    /// Every seal was seen unbroken.
    SealsUnbroken,
    /// Carrier and driver are known.
    CarrierAndDriver,
    /// The plate's values are typed in.
    Plate,
    /// Somebody has read the plate again against what was typed in.
    PlateReadBack,
    /// The load fits the tank.
    LoadFits,
    /// The trailer's pressure at arrival.
    TrailerPressure,
    /// The trailer's temperature at arrival.
    TrailerTemperature,
    /// The pad gas is one that this product may be pushed with.
    PadGas,
    /// The pad gas is dry.
    DewPoint,
    /// The gas supply's own relief protects the weakest part.
    GasRelief,
    /// The independent high-level shut-off was tested lately.
    ShutoffTested,
    /// The independent high-level shut-off is in service.
    ShutoffInService,
    /// The receiving connection is identified.
    ConnectionIdentified,
    /// The driver has been shown the emergency equipment.
    EmergencyEquipment,
}

impl CheckId {
    /// Every check with its name in files, entries and JSON.
    pub const ALL: [(CheckId, &'static str); 19] = [
        (CheckId::Product, "product"),
        (CheckId::ShippingDescription, "shipping_description"),
        (CheckId::HazardMarking, "hazard_marking"),
        (CheckId::Certificate, "certificate"),
        (CheckId::SealNumbers, "seal_numbers"),
        (CheckId::SealsUnbroken, "seals_unbroken"),
        (CheckId::CarrierAndDriver, "carrier_and_driver"),
        (CheckId::Plate, "plate"),
        (CheckId::PlateReadBack, "plate_read_back"),
        (CheckId::LoadFits, "load_fits"),
        (CheckId::TrailerPressure, "trailer_pressure"),
        (CheckId::TrailerTemperature, "trailer_temperature"),
        (CheckId::PadGas, "pad_gas"),
        (CheckId::DewPoint, "dew_point"),
        (CheckId::GasRelief, "gas_relief"),
        (CheckId::ShutoffTested, "shutoff_tested"),
        (CheckId::ShutoffInService, "shutoff_in_service"),
        (CheckId::ConnectionIdentified, "connection_identified"),
        (CheckId::EmergencyEquipment, "emergency_equipment"),
    ];

    /// Those that a person's entry can answer; the dew point only where no signal says it.
    pub const BY_PERSON: [CheckId; 7] = [
        CheckId::SealsUnbroken,
        CheckId::PlateReadBack,
        CheckId::PadGas,
        CheckId::DewPoint,
        CheckId::ShutoffInService,
        CheckId::ConnectionIdentified,
        CheckId::EmergencyEquipment,
    ];

    /// The check of that name.
    #[must_use]
    pub fn named(name: &str) -> Option<CheckId> {
        CheckId::ALL.iter().find(|(_, n)| *n == name).map(|(id, _)| *id)
    }

    /// Its name in files, entries and JSON.
    #[must_use]
    pub fn name(self) -> &'static str {
        CheckId::ALL.iter().find(|(id, _)| *id == self).map_or("", |(_, name)| name)
    }

    /// Whether a person's entry answers it at this bay: nothing else can see it.
    #[must_use]
    pub fn is_by_person(self, settings: &Settings) -> bool {
        let read = self == CheckId::DewPoint && Readings::find(settings, SignalKind::DewPoint, None).is_some();
        CheckId::BY_PERSON.contains(&self) && !read
    }

    /// Whether it can change though nobody enters anything: by signals, the margin, the time.
    fn is_live(self) -> bool {
        use CheckId::{DewPoint, LoadFits, ShutoffInService, ShutoffTested, TrailerPressure};
        matches!(self, LoadFits | TrailerPressure | DewPoint | ShutoffTested | ShutoffInService)
    }

    /// Whether it is asked at this bay: those of the pad gas only where gas drives.
    #[must_use]
    pub fn is_asked(self, settings: &Settings) -> bool {
        let of_gas = matches!(self, CheckId::PadGas | CheckId::DewPoint | CheckId::GasRelief);
        !of_gas || settings.drive == Drive::Pad
    }
}

/// One check as it stands.
#[derive(Debug, Clone, PartialEq)]
pub struct Check {
    /// Which.
    pub id: CheckId,
    /// How it stands.
    pub state: CheckState,
    /// Only a person's entry answers it.
    pub by_person: bool,
    /// Why, the gravest first.
    pub why: Vec<Why>,
}

/// How a check stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum CheckState {
    /// It fails: hold or reject.
    Fails,
    /// Something is missing.
    NotYet,
    /// What was asked was found. That says nothing of what was not asked.
    Met,
}

/// Why a check stands as it does.
#[derive(Debug, Clone, PartialEq)]
pub enum Why {
    /// The delivery's papers do not say.
    NotWritten(Paper),
    /// The site's files or the plate do not say.
    NotSet(Wanted),
    /// Found as expected.
    Found(String),
    /// Found otherwise than expected.
    Differs {
        /// As expected.
        expected: String,
        /// As found.
        found: String,
    },
    /// A pressure against its limit, Pa gauge.
    Pressure {
        /// As found.
        pa_gauge: f64,
        /// Highest that is taken.
        most_pa_gauge: f64,
    },
    /// A temperature against its limits, C.
    Temperature {
        /// As found.
        c: f64,
        /// Lowest that is taken.
        low_c: Option<f64>,
        /// Highest that is taken.
        high_c: Option<f64>,
    },
    /// The certificate has no value for this property.
    NoValue(String),
    /// Nobody has written limits for this property.
    NoLimits(String),
    /// A property against its limits.
    Property(Property),
    /// So many properties are within their limits.
    Properties(u16),
    /// Room below high-high when all is in, kg, and the part of the margin kept for the opening check, kg.
    Room {
        /// Room, negative where the load does not fit.
        kg: f64,
        /// Kept for a gauge that nothing else has checked.
        opening_kg: f64,
    },
    /// The margin is not known: no level that can be used.
    MarginUnknown,
    /// The signal of that index has no value that can be used.
    NotRead(u16),
    /// Last tested so many days ago (negative: the date lies ahead), of so many that are allowed.
    Tested {
        /// Days since.
        days: i64,
        /// Days allowed.
        most_days: u16,
    },
    /// The independent switch has tripped.
    SwitchTripped,
    /// The shut-off is bypassed.
    Bypassed,
    /// Nobody has entered it.
    NotEntered,
    /// A person entered it.
    Entered {
        /// Who.
        who: String,
        /// When.
        at: WallTime,
        /// What they wrote with it.
        note: String,
    },
}

/// A paper of the delivery.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Paper {
    /// Product on the trailer's tag.
    ProductTag,
    /// Shipping description.
    ShippingDescription,
    /// Hazard marking as found.
    Marking,
    /// Certificate of analysis.
    Certificate,
    /// Seal numbers of the papers.
    SealsExpected,
    /// Seal numbers as found.
    SealsFound,
    /// Carrier.
    Carrier,
    /// Driver.
    Driver,
    /// Trailer's pressure as found.
    PressureFound,
    /// Trailer's temperature as found.
    TemperatureFound,
}

/// What somebody has to type in once: off the plate, or into the site's files.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Wanted {
    /// Specification on the plate.
    Specification,
    /// MAWP on the plate.
    Mawp,
    /// Relief setting on the plate.
    Relief,
    /// Rating of the hose.
    HoseRating,
    /// Rating of the line.
    LineRating,
    /// Rating of the connection.
    ConnectionRating,
    /// Expected shipping description.
    ShippingDescription,
    /// Expected hazard marking.
    Marking,
    /// Temperature limits of a load.
    TemperatureLimits,
    /// Relief setting of the gas supply.
    GasRelief,
    /// Last test of the high-level shut-off.
    ShutoffTested,
}

/// What the checks are made from.
#[derive(Clone, Copy)]
pub struct Grounds<'a> {
    /// The bay.
    pub settings: &'a Settings,
    /// The open delivery.
    pub setup: &'a DeliverySetup,
    /// What the signals say.
    pub readings: &'a Readings,
    /// Room left when all is in.
    pub margin: &'a Margin,
    /// What people have entered, the latest last.
    pub entered: &'a [EnteredCheck],
    /// Wall time.
    pub now: WallTime,
}

use CheckState::{Fails, Met, NotYet};

/// A state with its reasons.
type Answer = (CheckState, Vec<Why>);

fn not_yet(why: Why) -> Answer {
    (NotYet, vec![why])
}

/// Every check that is asked at a bay.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Checks {
    /// Those that only an entry changes, in order: shared from frame to frame.
    standing: Standing,
    /// Those that hang on signals, the margin or the time, in order.
    live: Vec<Check>,
}

/// Checks that stand as they are until somebody enters something.
pub type Standing = Arc<[Check]>;

impl Checks {
    /// All, in the order in which they are shown.
    pub fn iter(&self) -> impl Iterator<Item = &Check> {
        let (mut standing, mut live) = (self.standing.iter().peekable(), self.live.iter().peekable());
        std::iter::from_fn(move || match (standing.peek(), live.peek()) {
            (Some(one), Some(other)) if other.id < one.id => live.next(),
            (None, _) => live.next(),
            _ => standing.next(),
        })
    }

    /// Whether none is asked: no delivery is open.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.standing.is_empty() && self.live.is_empty()
    }
}

impl FromIterator<Check> for Checks {
    fn from_iter<I: IntoIterator<Item = Check>>(checks: I) -> Checks {
        let (live, standing): (Vec<Check>, Vec<Check>) = checks.into_iter().partition(|check| check.id.is_live());
        Checks { standing: standing.into(), live }
    }
}

impl Grounds<'_> {
    /// Those that only an entry changes.
    #[must_use]
    pub fn standing(&self) -> Standing {
        self.asked(false).collect()
    }

    /// All, with those that stand as they were drawn up.
    #[must_use]
    pub fn checks(&self, standing: Standing) -> Checks {
        let mut live = Vec::with_capacity(CheckId::ALL.len() - standing.len());
        live.extend(self.asked(true));
        Checks { standing, live }
    }

    fn asked(&self, live: bool) -> impl Iterator<Item = Check> {
        let asked = CheckId::ALL.iter().map(|(id, _)| *id).filter(move |id| id.is_live() == live);
        asked.filter(|id| id.is_asked(self.settings)).map(|id| self.check(id))
    }

    fn check(&self, id: CheckId) -> Check {
        let (state, why) = self.answer(id);
        Check { id, state, by_person: id.is_by_person(self.settings), why }
    }

    fn answer(&self, id: CheckId) -> Answer {
        let papers = &self.setup.papers;
        match id {
            CheckId::Product => self.product(),
            CheckId::ShippingDescription => self.described(
                (papers.shipping_description.as_ref(), Paper::ShippingDescription),
                (self.tank().and_then(|t| t.shipping_description.as_ref()), Wanted::ShippingDescription),
            ),
            CheckId::HazardMarking => self.described(
                (papers.marking_found.as_ref(), Paper::Marking),
                (self.tank().and_then(|t| t.marking.as_ref()), Wanted::Marking),
            ),
            CheckId::Certificate => certificate(papers),
            CheckId::SealNumbers => seals(papers),
            CheckId::SealsUnbroken => self.unbroken(),
            CheckId::CarrierAndDriver => carried_by(papers),
            CheckId::Plate => self.plate(),
            CheckId::LoadFits => self.load_fits(),
            CheckId::TrailerPressure => self.trailer_pressure(),
            CheckId::TrailerTemperature => self.trailer_temperature(),
            CheckId::DewPoint => self.dew_point(),
            CheckId::GasRelief => self.gas_relief(),
            CheckId::ShutoffTested => self.shutoff_tested(),
            CheckId::ShutoffInService => self.shutoff_in_service(),
            CheckId::PlateReadBack | CheckId::PadGas | CheckId::ConnectionIdentified | CheckId::EmergencyEquipment => {
                self.entry(id)
            }
        }
    }

    fn tank(&self) -> Option<&TankExpected> {
        self.settings.expected.tanks.get(usize::from(self.setup.tank))
    }

    /// What a person has entered last.
    fn entry(&self, id: CheckId) -> Answer {
        let Some(entered) = self.entered.iter().rfind(|e| e.check == id) else { return not_yet(Why::NotEntered) };
        let EnteredCheck { met, who, at, note, .. } = entered.clone();
        (if met { Met } else { Fails }, vec![Why::Entered { who, at, note }])
    }

    fn product(&self) -> Answer {
        let papers = &self.setup.product.name;
        let expected = self.tank().map_or(papers, |t| &t.product);
        let differs = |found: &String| Why::Differs { expected: expected.clone(), found: found.clone() };
        if !same(expected, papers) {
            return (Fails, vec![differs(papers)]);
        }
        match &self.setup.papers.product_tag {
            None => not_yet(Why::NotWritten(Paper::ProductTag)),
            Some(tag) if same(tag, expected) => (Met, vec![Why::Found(tag.clone())]),
            Some(tag) => (Fails, vec![differs(tag)]),
        }
    }

    /// A text as found against the one that is expected.
    fn described(
        &self,
        (found, paper): (Option<&String>, Paper),
        (expected, wanted): (Option<&String>, Wanted),
    ) -> Answer {
        match (found, expected) {
            (_, None) => not_yet(Why::NotSet(wanted)),
            (None, _) => not_yet(Why::NotWritten(paper)),
            (Some(found), Some(expected)) if same(found, expected) => (Met, vec![Why::Found(found.clone())]),
            (Some(found), Some(expected)) => {
                (Fails, vec![Why::Differs { expected: expected.clone(), found: found.clone() }])
            }
        }
    }

    /// The papers' own yes or no stands until a person enters it.
    fn unbroken(&self) -> Answer {
        let entered = self.entry(CheckId::SealsUnbroken);
        match (self.setup.papers.seals_unbroken, &entered) {
            (Some(false), (NotYet, _)) => (Fails, Vec::new()),
            (Some(true), (NotYet, _)) => (Met, Vec::new()),
            _ => entered,
        }
    }

    fn plate(&self) -> Answer {
        let plate = &self.setup.plate;
        let typed = [
            (plate.mawp.is_some(), Wanted::Mawp),
            (plate.specification.is_some(), Wanted::Specification),
            (plate.relief_from.is_some() && plate.relief_to.is_some(), Wanted::Relief),
        ];
        let missing: Vec<Why> = typed.into_iter().filter(|(there, _)| !there).map(|(_, w)| Why::NotSet(w)).collect();
        let found = plate.specification.iter().map(|text| Why::Found(text.clone())).collect();
        if missing.is_empty() { (Met, found) } else { (NotYet, missing) }
    }

    fn load_fits(&self) -> Answer {
        match self.margin {
            Margin::Unknown => not_yet(Why::MarginUnknown),
            Margin::Known { kg, parts: MarginParts { opening_kg, .. }, .. } => {
                let why = Why::Room { kg: *kg, opening_kg: *opening_kg };
                (if *kg < 0.0 { Fails } else { Met }, vec![why])
            }
        }
    }

    /// The tap on the trailer where it is read, its own gauge otherwise, against the plate and the site's maximum.
    fn trailer_pressure(&self) -> Answer {
        let Some(mawp) = self.setup.plate.mawp else { return not_yet(Why::NotSet(Wanted::Mawp)) };
        let most_pa_gauge = self.settings.limits.pad_maximum.map_or(mawp.0, |most| most.0.min(mawp.0));
        let tap = match self.settings.pad_tap {
            PadTap::Trailer => self.readings.credible_kind(self.settings, SignalKind::PadPressure, None),
            PadTap::Supply => None,
        };
        let found = self.setup.papers.pressure_found.map(|p| p.0);
        // The higher of two counts: before the hose is on, the tap may stand at the air.
        match found.into_iter().chain(tap).max_by(f64::total_cmp) {
            None => not_yet(Why::NotWritten(Paper::PressureFound)),
            Some(pa_gauge) => {
                let state = if pa_gauge > most_pa_gauge { Fails } else { Met };
                (state, vec![Why::Pressure { pa_gauge, most_pa_gauge }])
            }
        }
    }

    fn trailer_temperature(&self) -> Answer {
        let limits = self.tank().map(|t| (t.temperature_low.map(|c| c.0), t.temperature_high.map(|c| c.0)));
        let (low_c, high_c) = limits.unwrap_or_default();
        if low_c.is_none() && high_c.is_none() {
            return not_yet(Why::NotSet(Wanted::TemperatureLimits));
        }
        let Some(found) = self.setup.papers.temperature_found else {
            return not_yet(Why::NotWritten(Paper::TemperatureFound));
        };
        let outside = low_c.is_some_and(|low| found.0 < low) || high_c.is_some_and(|high| found.0 > high);
        (if outside { Fails } else { Met }, vec![Why::Temperature { c: found.0, low_c, high_c }])
    }

    fn dew_point(&self) -> Answer {
        let Some(signal) = Readings::find(self.settings, SignalKind::DewPoint, None) else {
            return self.entry(CheckId::DewPoint);
        };
        let Some(c) = self.readings.credible(signal) else { return not_yet(Why::NotRead(signal)) };
        let high_c = self.settings.expected.dew_point.0;
        let why = Why::Temperature { c, low_c: None, high_c: Some(high_c) };
        (if c > high_c { Fails } else { Met }, vec![why])
    }

    /// The supply's own relief valve opens at or below the lowest rated part. With a rating not set, nobody knows which
    /// that is; one that is lower already fails it.
    fn gas_relief(&self) -> Answer {
        let limits = &self.settings.limits;
        let rated = [
            (self.setup.plate.mawp, Wanted::Mawp),
            (limits.hose_rating, Wanted::HoseRating),
            (limits.line_rating, Wanted::LineRating),
            (limits.connection_rating, Wanted::ConnectionRating),
        ];
        let missing = rated.iter().filter(|(rating, _)| rating.is_none()).map(|(_, wanted)| Why::NotSet(*wanted));
        let missing: Vec<Why> = missing.collect();
        let Some(relief) = self.settings.expected.gas_relief else {
            return not_yet(Why::NotSet(Wanted::GasRelief));
        };
        let lowest = rated.iter().filter_map(|(rating, _)| rating.map(|r| r.0)).min_by(f64::total_cmp);
        let Some(most_pa_gauge) = lowest else { return (NotYet, missing) };
        let why = Why::Pressure { pa_gauge: relief.0, most_pa_gauge };
        match (relief.0 > most_pa_gauge, missing.is_empty()) {
            (true, _) => (Fails, vec![why]),
            (false, true) => (Met, vec![why]),
            (false, false) => (NotYet, missing),
        }
    }

    fn shutoff_tested(&self) -> Answer {
        let tested = self.tank().and_then(|t| t.shutoff_tested.map(|at| (at, t.shutoff_test_days)));
        let Some((tested, most_days)) = tested else { return not_yet(Why::NotSet(Wanted::ShutoffTested)) };
        let days = self.now.0.saturating_sub(tested.0).div_euclid(DAY_NS);
        let state = match days {
            ahead if ahead < 0 => NotYet,
            old if old > i64::from(most_days) => Fails,
            _ => Met,
        };
        (state, vec![Why::Tested { days, most_days }])
    }

    fn shutoff_in_service(&self) -> Answer {
        let tank = Some(self.setup.tank);
        let says = |kind, tank| self.readings.credible_kind(self.settings, kind, tank).is_some_and(|v| v != 0.0);
        if says(SignalKind::HighLevelSwitch, tank) {
            return (Fails, vec![Why::SwitchTripped]);
        }
        if says(SignalKind::ShutoffBypassed, None) {
            return (Fails, vec![Why::Bypassed]);
        }
        self.entry(CheckId::ShutoffInService)
    }
}

fn certificate(papers: &Papers) -> Answer {
    if papers.certificate.is_none() || papers.properties.is_empty() {
        return not_yet(Why::NotWritten(Paper::Certificate));
    }
    let (mut outside, mut missing) = (Vec::new(), Vec::new());
    for property in &papers.properties {
        let Property { name, value, low, high, .. } = property;
        match value {
            None => missing.push(Why::NoValue(name.clone())),
            Some(_) if low.is_none() && high.is_none() => missing.push(Why::NoLimits(name.clone())),
            Some(value) if low.is_some_and(|l| *value < l) || high.is_some_and(|h| *value > h) => {
                outside.push(Why::Property(property.clone()));
            }
            Some(_) => {}
        }
    }
    let count = u16::try_from(papers.properties.len()).unwrap_or(u16::MAX);
    match (outside.is_empty(), missing.is_empty()) {
        (true, true) => (Met, vec![Why::Properties(count)]),
        (true, false) => (NotYet, missing),
        (false, _) => (Fails, outside.into_iter().chain(missing).collect()),
    }
}

/// Whatever the order in which they were read.
fn seals(papers: &Papers) -> Answer {
    let (expected, found) = (&papers.seals_expected, &papers.seals_found);
    let missing = [(expected, Paper::SealsExpected), (found, Paper::SealsFound)];
    let missing: Vec<Why> =
        missing.into_iter().filter(|(seals, _)| seals.is_empty()).map(|(_, paper)| Why::NotWritten(paper)).collect();
    if !missing.is_empty() {
        return (NotYet, missing);
    }
    let plain = |seals: &[String]| {
        let mut plain: Vec<String> = seals.iter().map(|seal| letters(seal).collect()).collect();
        plain.sort();
        plain
    };
    let found_text = found.join(", ");
    if plain(expected) == plain(found) {
        return (Met, vec![Why::Found(found_text)]);
    }
    (Fails, vec![Why::Differs { expected: expected.join(", "), found: found_text }])
}

fn carried_by(papers: &Papers) -> Answer {
    match (&papers.carrier, &papers.driver) {
        (Some(carrier), Some(driver)) => (Met, vec![Why::Found(format!("{carrier}, {driver}"))]),
        (carrier, driver) => {
            let each = [(carrier.is_none(), Paper::Carrier), (driver.is_none(), Paper::Driver)];
            (NotYet, each.into_iter().filter(|(is, _)| *is).map(|(_, paper)| Why::NotWritten(paper)).collect())
        }
    }
}

/// Letters and digits of a text, small: spaces, points and capitals are no difference between two papers.
fn letters(text: &str) -> impl Iterator<Item = char> {
    text.chars().filter(|c| c.is_alphanumeric()).flat_map(char::to_lowercase)
}

fn same(one: &str, other: &str) -> bool {
    letters(one).eq(letters(other))
}

/// The worst state of all of them.
#[must_use]
pub fn worst(checks: &[Check]) -> CheckState {
    checks.iter().map(|c| c.state).min().unwrap_or(NotYet)
}
