//! What can be wrong with the papers of a delivery, as data: what reads a written file finds it, and what speaks to people
//! says it in their language. The English is here, because on a command line and in JSON a fault is always in English.

use crate::units::{Quantity, Unit};

/// What is written where something else should be.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[expect(missing_docs, reason = "the names are the documentation")]
pub enum Written {
    Text,
    Number,
    Flag,
    Date,
    List,
    Table,
}

/// What a key takes.
#[derive(Debug, Clone, PartialEq, Eq)]
#[expect(missing_docs, reason = "the names are the documentation")]
pub enum Wanted {
    Table,
    Tables,
    Text,
    Texts,
    OneOf(&'static [&'static str]),
    Flag,
    Whole {
        low: i64,
        high: i64,
    },
    Wholes {
        low: i64,
        high: i64,
    },
    Number,
    /// Of that quantity; `None`: of the one that the signal measures.
    Amount(Option<Quantity>),
    Pairs,
}

/// What a name stands for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[expect(missing_docs, reason = "the names are the documentation")]
pub enum Thing {
    Bay,
    Tank,
    TankOfThatBay,
    TankOfThisBay,
    Device,
    Link,
    SignalOfThatBay,
}

/// What a mass is held against.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Whole {
    /// The ticket's net.
    TicketNet,
    /// `leg.on_board`.
    OnBoard,
}

/// How a value looks.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Like {
    /// As it may stand in a file.
    pub line: String,
    /// As it is typed into a form.
    pub typed: String,
}

/// How a key is written.
#[derive(Debug, Clone, PartialEq)]
#[expect(missing_docs, reason = "the names are the documentation")]
pub enum OfForm {
    /// Not there, and must be.
    Missing {
        means: &'static str,
        like: Like,
    },
    /// Of another form than the key's.
    Wrong {
        is: Written,
        wanted: Wanted,
        like: Like,
    },
    /// A whole number.
    WholeOutOfRange {
        written: String,
        low: i64,
        high: i64,
        means: &'static str,
    },
    /// A number without a unit.
    NumberOutOfRange {
        written: String,
        low: f64,
        high: f64,
        like: Like,
    },
    /// A text that is empty, too long or holds what cannot be printed.
    Unprintable {
        bytes_most: usize,
        like: Like,
    },
    UsedTwice {
        name: String,
    },
    NoSuch {
        thing: Thing,
        wanted: String,
        names: Vec<String>,
        nearest: Option<String>,
    },
}

/// How a quantity is written.
#[derive(Debug, Clone, PartialEq)]
#[expect(missing_docs, reason = "the names are the documentation")]
pub enum OfAmount {
    /// The range in the unit that was written.
    OutOfRange {
        written: String,
        low: f64,
        high: f64,
        unit: Unit,
    },
    /// No number where it should begin; `comma`: one is in it.
    NoNumber {
        written: String,
        comma: bool,
        quantity: Quantity,
    },
    NoUnit {
        quantity: Quantity,
    },
    UnknownUnit {
        name: String,
        quantity: Quantity,
        nearest: Option<String>,
    },
    /// A unit of something else.
    OtherUnit {
        name: String,
        of: Quantity,
        quantity: Quantity,
        nearest: Option<String>,
    },
}

/// Product, density and certificate.
#[derive(Debug, Clone, PartialEq)]
#[expect(missing_docs, reason = "the names are the documentation")]
pub enum OfProduct {
    /// The papers' product is not the tank's.
    Other {
        product: String,
        tank: String,
        held: String,
    },
    /// The load's temperature is off the product's density table.
    OffTable {
        low_c: f64,
        high_c: f64,
    },
    /// What belongs to a density, without one.
    NoDensity,
    /// A density that is given by halves, or twice.
    DensityNotOnce,
    OtherDensity {
        load_kg_per_m3: f64,
        name: String,
        held_kg_per_m3: f64,
        part_most: f64,
    },
    /// Of a property's two limits.
    HighBelowLow {
        high: f64,
        low: f64,
    },
}

/// How much is on the trailer, and the trailer itself. A key that one names is a whole path.
#[derive(Debug, Clone, PartialEq)]
#[expect(missing_docs, reason = "the names are the documentation")]
pub enum OfLoad {
    /// A leg without what is on board before it.
    OnBoardMissing,
    /// Gross without tare, or tare without gross.
    WeighedAlone {
        there: &'static str,
    },
    NetIsNotTheDifference {
        net_kg: f64,
        difference_kg: f64,
        u_kg: f64,
    },
    /// A plate's pressure below another that must not be above it.
    BelowOnPlate {
        lower: &'static str,
    },
    AboveTrailer {
        load_m3: f64,
        trailer_m3: f64,
        most_kg: f64,
        key: String,
    },
    AboveWhole {
        whole: Whole,
        most_kg: f64,
        key: String,
    },
    AboveTank {
        tank: String,
        most_kg: f64,
    },
    PartOfTicket {
        planned_kg: f64,
        net_kg: f64,
    },
    /// Parts of the trailer's volume, 1.
    TrailerHardlyFilled {
        fill: f64,
        fill_least: f64,
        product: String,
    },
    /// Both gauge.
    MawpBelowSite {
        mawp_pa: f64,
        most_pa: f64,
    },
}

/// One thing that is wrong, or hardly meant, with its values. The key that it is said of is not in it.
#[derive(Debug, Clone, PartialEq)]
#[expect(missing_docs, reason = "what each is of, its own type says")]
pub enum Finding {
    Form(OfForm),
    Amount(OfAmount),
    Product(OfProduct),
    Load(OfLoad),
}

impl From<OfForm> for Finding {
    fn from(of: OfForm) -> Finding {
        Finding::Form(of)
    }
}

impl From<OfAmount> for Finding {
    fn from(of: OfAmount) -> Finding {
        Finding::Amount(of)
    }
}

impl From<OfProduct> for Finding {
    fn from(of: OfProduct) -> Finding {
        Finding::Product(of)
    }
}

impl From<OfLoad> for Finding {
    fn from(of: OfLoad) -> Finding {
        Finding::Load(of)
    }
}

/// A finding in words.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Said {
    /// What is wrong, with its value.
    pub what: String,
    /// What may be written instead; empty where nothing is to be said.
    pub allowed: String,
    /// What to do.
    pub act: String,
}

impl Said {
    /// Of its parts.
    pub fn new(what: impl Into<String>, allowed: impl Into<String>, act: impl Into<String>) -> Said {
        Said { what: what.into(), allowed: allowed.into(), act: act.into() }
    }
}

impl Finding {
    /// The known name nearest to what was written.
    #[must_use]
    pub fn nearest(&self) -> Option<&str> {
        match self {
            Finding::Amount(OfAmount::UnknownUnit { nearest, .. } | OfAmount::OtherUnit { nearest, .. })
            | Finding::Form(OfForm::NoSuch { nearest, .. }) => nearest.as_deref(),
            _ => None,
        }
    }

    /// In English.
    #[must_use]
    pub fn english(&self) -> Said {
        match self {
            Finding::Form(of) => of.english(),
            Finding::Amount(of) => of.english(),
            Finding::Product(of) => of.english(),
            Finding::Load(of) => of.english(),
        }
    }
}

impl OfForm {
    fn english(&self) -> Said {
        let act = |like: &Like| format!("write it like this: {}", like.line);
        match self {
            OfForm::Missing { means, like } => {
                Said::new(format!("is missing: {means}"), "", format!("write it, for example: {}", like.line))
            }
            OfForm::Wrong { is, wanted, like } => {
                Said::new(format!("is {}", is.english()), wanted.english(), act(like))
            }
            OfForm::WholeOutOfRange { written, low, high, means } => Said::new(
                format!("{written} is out of range"),
                format!("{low} to {high}"),
                format!("correct it: {means}"),
            ),
            OfForm::NumberOutOfRange { written, low, high, like } => {
                Said::new(format!("{written} is no number in range"), format!("{low} to {high}"), act(like))
            }
            OfForm::Unprintable { bytes_most, like } => Said::new(
                "is empty, too long or not printable",
                format!("1 to {bytes_most} bytes of printable text"),
                act(like),
            ),
            OfForm::UsedTwice { name } => Said::new(
                format!("{name:?} is used twice"),
                "",
                "give each its own name; for bays, capitals and punctuation make no difference",
            ),
            OfForm::NoSuch { thing, wanted, names, .. } => {
                let thing = thing.english();
                Said::new(
                    format!("there is no {thing} {wanted:?}"),
                    names.join(", "),
                    format!("write the name of a {thing} exactly as it stands there"),
                )
            }
        }
    }
}

impl Written {
    fn english(self) -> &'static str {
        match self {
            Written::Text => "text",
            Written::Number => "a bare number",
            Written::Flag => "true or false",
            Written::Date => "a date or time",
            Written::List => "a list",
            Written::Table => "a table",
        }
    }
}

impl Wanted {
    fn english(&self) -> String {
        match self {
            Wanted::Table => "a table".to_owned(),
            Wanted::Tables => "a list of tables, at least one".to_owned(),
            Wanted::Text => "text".to_owned(),
            Wanted::Texts => "a list of texts, at least one".to_owned(),
            Wanted::OneOf(words) => format!("one of {}", words.join(", ")),
            Wanted::Flag => "true or false".to_owned(),
            Wanted::Whole { low, high } => format!("a whole number, {low} to {high}"),
            Wanted::Wholes { low, high } => format!("a list of whole numbers, {low} to {high}, at least one"),
            Wanted::Number => "a number without unit".to_owned(),
            Wanted::Amount(Some(of)) => format!("a number with its unit, as text; units: {}", units(*of)),
            Wanted::Amount(None) => "a number with its unit, as text".to_owned(),
            Wanted::Pairs => "a list of pairs of quantities".to_owned(),
        }
    }
}

impl Thing {
    fn english(self) -> &'static str {
        match self {
            Thing::Bay => "bay",
            Thing::Tank => "tank",
            Thing::TankOfThatBay => "tank of that bay",
            Thing::TankOfThisBay => "tank of this bay",
            Thing::Device => "device",
            Thing::Link => "link",
            Thing::SignalOfThatBay => "signal of that bay",
        }
    }
}

impl OfAmount {
    fn english(&self) -> Said {
        let one_of_these = |quantity: &Quantity| match quantity {
            Quantity::GaugePressure => {
                "write one of these; an absolute pressure has to be turned into gauge pressure first"
            }
            _ => "write one of these",
        };
        match self {
            OfAmount::OutOfRange { written, low, high, unit } => Said::new(
                format!("{written:?} is out of range"),
                format!("{} to {} {unit}", short(*low), short(*high)),
                "correct the number or its unit",
            ),
            OfAmount::NoNumber { written, comma, quantity } => Said::new(
                format!("{written:?} does not begin with a number"),
                example(*quantity),
                match comma {
                    true => "write a decimal point, not a comma, and no separators between thousands",
                    false => "write a number, a space and a unit",
                },
            ),
            OfAmount::NoUnit { quantity } => Said::new("there is no unit", units(*quantity), one_of_these(quantity)),
            OfAmount::UnknownUnit { name, quantity, .. } => {
                Said::new(format!("{name:?} is no known unit"), units(*quantity), one_of_these(quantity))
            }
            OfAmount::OtherUnit { name, of, quantity, .. } => Said::new(
                format!("{name:?} is a unit of {}, not of {}", word(*of), word(*quantity)),
                units(*quantity),
                one_of_these(quantity),
            ),
        }
    }
}

impl OfProduct {
    fn english(&self) -> Said {
        match self {
            OfProduct::Other { product, tank, held } => Said::new(
                format!("{product:?} is not what tank {tank:?} holds"),
                held,
                "stop and clear up which of the two is wrong before anything is connected",
            ),
            OfProduct::OffTable { low_c, high_c } => Said::new(
                "is off the product's density table",
                format!("{low_c} to {high_c} C"),
                "correct the temperature or its unit, or extend the product's table",
            ),
            OfProduct::NoDensity => Said::new(
                "stands without a density",
                "",
                "write at, temperature and slope_kg_per_m3_per_c, or a table, or take the line out",
            ),
            OfProduct::DensityNotOnce => Said::new(
                "needs the density described once",
                "at, temperature and slope_kg_per_m3_per_c together, or table",
                "write what the load's certificate gives",
            ),
            OfProduct::OtherDensity { load_kg_per_m3: load, name, held_kg_per_m3: held, part_most } => Said::new(
                format!("makes the load {load:.0} kg/m3, but {name} is {held:.0} kg/m3 at that temperature"),
                format!("within {:.0} % of it", part_most * 100.0),
                "correct the number or its unit; if it is right, stop: this may not be what the tank holds",
            ),
            OfProduct::HighBelowLow { high, low } => {
                Said::new(format!("{high} is below low, {low}"), "", "correct one of the two limits")
            }
        }
    }
}

impl Whole {
    fn english(self) -> [&'static str; 3] {
        match self {
            Whole::TicketNet => ["was weighed in", "the ticket's net", "ticket.net"],
            Whole::OnBoard => ["is on board", "leg.on_board", "leg.on_board"],
        }
    }
}

impl OfLoad {
    fn english(&self) -> Said {
        match self {
            OfLoad::OnBoardMissing => Said::new(
                "is missing: a leg of its own needs what is on board before it",
                "",
                "take both off the record of the leg before it, which prints them; for a compartment, off its papers",
            ),
            OfLoad::WeighedAlone { there } => {
                Said::new(format!("is missing: {there} stands alone"), "", "write both as printed, or neither")
            }
            OfLoad::NetIsNotTheDifference { net_kg, difference_kg, u_kg } => Said::new(
                format!("is {net_kg:.0} kg, but gross less tare is {difference_kg:.0} kg"),
                format!("within {u_kg:.0} kg of each other, the ticket's u"),
                "read the ticket again: gross, tare, net and their units",
            ),
            OfLoad::BelowOnPlate { lower } => Said::new(
                format!("is below {lower}"),
                "mawp, relief_from and relief_to in rising order",
                "read the plate again, with its units",
            ),
            OfLoad::AboveTrailer { load_m3, trailer_m3, most_kg, key } => Said::new(
                format!("the load takes {load_m3:.1} m3, more than the trailer's {trailer_m3:.1} m3"),
                format!("up to {most_kg:.0} kg"),
                format!("correct {key} or trailer.volume, or their units"),
            ),
            OfLoad::AboveWhole { whole, most_kg, key } => {
                let [than, name, other] = whole.english();
                Said::new(
                    format!("is more than {than}"),
                    format!("up to {most_kg:.0} kg, {name}"),
                    format!("correct {key} or {other}, or their units"),
                )
            }
            OfLoad::AboveTank { tank, most_kg } => Said::new(
                format!("is more than tank {tank:?} holds when empty"),
                format!("up to {most_kg:.0} kg below high_high"),
                "correct planned or tank, or its unit",
            ),
            OfLoad::PartOfTicket { planned_kg, net_kg } => Said::new(
                format!("{} kg are less than half of the ticket's net, {} kg", short(*planned_kg), short(*net_kg)),
                "",
                "correct the number or its unit; where the rest goes elsewhere, write [leg] number = 1",
            ),
            OfLoad::TrailerHardlyFilled { fill, fill_least, product } => Said::new(
                format!("the load fills {:.0} % of the trailer", 100.0 * fill),
                format!("usually {:.0} % and more: {product} is dense", 100.0 * fill_least),
                "correct trailer.volume or ticket.net, or their units",
            ),
            OfLoad::MawpBelowSite { mawp_pa, most_pa } => {
                let (mawp, most) = (short(mawp_pa / 1e3), short(most_pa / 1e3));
                Said::new(
                    format!("{mawp} kPa gauge is below the site's pad_maximum, {most} kPa gauge: it is the ceiling"),
                    "",
                    "read the plate again with its unit; if it is so, set the regulator for this trailer first",
                )
            }
        }
    }
}

/// A quantity as it may be written, and its units.
pub(crate) fn example(quantity: Quantity) -> String {
    format!("for example \"20 {}\"; units: {}", quantity.si_name(), units(quantity))
}

/// The units of a quantity, for hints.
#[must_use]
pub fn units(quantity: Quantity) -> String {
    Unit::names(quantity).join(", ")
}

/// The quantity in a word.
pub(crate) fn word(quantity: Quantity) -> &'static str {
    match quantity {
        Quantity::Mass => "mass",
        Quantity::MassFlow => "mass flow",
        Quantity::Volume => "volume",
        Quantity::VolumeFlow => "volume flow",
        Quantity::Density => "density",
        Quantity::Length => "length",
        Quantity::GaugePressure => "gauge pressure",
        Quantity::Temperature => "temperature",
        Quantity::Viscosity => "viscosity",
        Quantity::Time => "time",
        Quantity::Ratio => "ratio",
        Quantity::YesNo => "yes or no",
    }
}

/// A number with at most four digits behind its first, as people read it.
#[must_use]
pub fn short(number: f64) -> String {
    match format!("{number:.4e}").parse::<f64>() {
        Ok(rounded) => (rounded + 0.0).to_string(),
        Err(_) => number.to_string(),
    }
}
