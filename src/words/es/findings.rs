//! What is wrong with papers that were typed, in Spanish. Units stand as they have to be typed.

use super::papers::{example, means_of, named};
use crate::finding::{Finding, OfAmount, OfForm, OfLoad, OfProduct, Said, Thing, Wanted, Whole, Written, short, units};
use crate::units::Quantity;

/// Of the field of that key.
pub(super) fn said(key: &str, finding: &Finding) -> Said {
    match finding {
        Finding::Form(of) => form(key, of),
        Finding::Amount(of) => amount(of),
        Finding::Product(of) => product(of),
        Finding::Load(of) => load(of),
    }
}

fn form(key: &str, of: &OfForm) -> Said {
    let like = |shown: &str| format!("escríbalo así: {}", example(key).unwrap_or(shown));
    match of {
        OfForm::Missing { means, like } => Said::new(
            format!("falta: {}", means_of(key).unwrap_or(means)),
            "",
            format!("escríbalo, por ejemplo: {}", example(key).unwrap_or(&like.typed)),
        ),
        OfForm::Wrong { is, wanted, like: shown } => {
            Said::new(format!("es {}", written(*is)), wanted_in_words(wanted), like(&shown.typed))
        }
        OfForm::WholeOutOfRange { written, low, high, means } => Said::new(
            format!("{written} está fuera de lo que se admite"),
            format!("{low} a {high}"),
            format!("corríjalo: {}", means_of(key).unwrap_or(means)),
        ),
        OfForm::NumberOutOfRange { written, low, high, like: shown } => Said::new(
            format!("{written} está fuera de lo que se admite"),
            format!("{low} a {high}"),
            like(&shown.typed),
        ),
        OfForm::Unprintable { bytes_most, like: shown } => Said::new(
            "está vacío, es demasiado largo o no se puede imprimir",
            format!("1 a {bytes_most} letras que se puedan imprimir; una con acento cuenta por dos"),
            like(&shown.typed),
        ),
        OfForm::UsedTwice { name } => {
            Said::new(format!("{name:?} está dos veces"), "", "dé a cada uno un nombre propio")
        }
        OfForm::NoSuch { thing, wanted, names, .. } => Said::new(
            format!("no hay {} {wanted:?}", thing_in_words(*thing)),
            names.join(", "),
            "escriba el nombre exactamente como está ahí",
        ),
    }
}

fn written(is: Written) -> &'static str {
    match is {
        Written::Text => "un texto",
        Written::Number => "un número solo",
        Written::Flag => "un sí o no",
        Written::Date => "una fecha u hora",
        Written::List => "una lista",
        Written::Table => "una tabla",
    }
}

fn wanted_in_words(wanted: &Wanted) -> String {
    match wanted {
        Wanted::Table => "una tabla".to_owned(),
        Wanted::Tables => "una lista de tablas, al menos una".to_owned(),
        Wanted::Text => "un texto".to_owned(),
        Wanted::Texts => "una lista de textos, al menos uno, separados por comas".to_owned(),
        Wanted::OneOf(words) => format!("uno de estos: {}", words.join(", ")),
        Wanted::Flag => "sí o no".to_owned(),
        Wanted::Whole { low, high } => format!("un número entero, {low} a {high}"),
        Wanted::Wholes { low, high } => format!("una lista de números enteros, {low} a {high}, al menos uno"),
        Wanted::Number => "un número sin unidad, con punto decimal".to_owned(),
        Wanted::Amount(Some(of)) => format!("un número con su unidad; unidades: {}", units(*of)),
        Wanted::Amount(None) => "un número con su unidad".to_owned(),
        Wanted::Pairs => "una lista de pares de cantidades".to_owned(),
    }
}

fn thing_in_words(thing: Thing) -> &'static str {
    match thing {
        Thing::Bay => "ninguna bahía",
        Thing::Tank => "ningún tanque",
        Thing::TankOfThatBay | Thing::TankOfThisBay => "en esa bahía ningún tanque",
        Thing::Device => "ningún dispositivo",
        Thing::Link => "ningún enlace",
        Thing::SignalOfThatBay => "en esa bahía ninguna señal",
    }
}

fn amount(of: &OfAmount) -> Said {
    let one_of_these = |quantity: &Quantity| match quantity {
        Quantity::GaugePressure => "escriba una de estas; una presión absoluta se convierte antes en manométrica",
        _ => "escriba una de estas",
    };
    match of {
        OfAmount::OutOfRange { written, low, high, unit } => Said::new(
            format!("{written:?} está fuera de lo que se admite"),
            format!("{} a {} {unit}", short(*low), short(*high)),
            "corrija el número o su unidad",
        ),
        OfAmount::NoNumber { written, comma, quantity } => Said::new(
            format!("{written:?} no empieza con un número"),
            format!("por ejemplo \"20 {}\"; unidades: {}", quantity.si_name(), units(*quantity)),
            match comma {
                true => "escriba un punto decimal, no una coma, y nada entre los miles",
                false => "escriba un número, un espacio y una unidad",
            },
        ),
        OfAmount::NoUnit { quantity } => Said::new("no hay unidad", units(*quantity), one_of_these(quantity)),
        OfAmount::UnknownUnit { name, quantity, .. } => {
            Said::new(format!("{name:?} no es una unidad conocida"), units(*quantity), one_of_these(quantity))
        }
        OfAmount::OtherUnit { name, of, quantity, .. } => Said::new(
            format!("{name:?} es una unidad de {}, no de {}", word(*of), word(*quantity)),
            units(*quantity),
            one_of_these(quantity),
        ),
    }
}

fn word(quantity: Quantity) -> &'static str {
    match quantity {
        Quantity::Mass => "masa",
        Quantity::MassFlow => "caudal de masa",
        Quantity::Volume => "volumen",
        Quantity::VolumeFlow => "caudal de volumen",
        Quantity::Density => "densidad",
        Quantity::Length => "longitud",
        Quantity::GaugePressure => "presión manométrica",
        Quantity::Temperature => "temperatura",
        Quantity::Viscosity => "viscosidad",
        Quantity::Time => "tiempo",
        Quantity::Ratio => "proporción",
        Quantity::YesNo => "sí o no",
    }
}

fn product(of: &OfProduct) -> Said {
    match of {
        OfProduct::Other { product, tank, held } => Said::new(
            format!("{product:?} no es lo que contiene el tanque {tank:?}"),
            held,
            "deténgase y aclare cuál de los dos está mal antes de conectar nada",
        ),
        OfProduct::OffTable { low_c, high_c } => Said::new(
            "queda fuera de la tabla de densidad del producto",
            format!("{low_c} a {high_c} C"),
            "corrija la temperatura o su unidad, o amplíe la tabla del producto",
        ),
        OfProduct::NoDensity => Said::new(
            "está sin una densidad",
            "",
            format!(
                "escriba {}, {} y {}, o vacíe este campo",
                named("density.at"),
                named("density.temperature"),
                named("density.slope_kg_per_m3_per_c")
            ),
        ),
        OfProduct::DensityNotOnce => Said::new(
            "la densidad tiene que estar completa",
            format!(
                "{}, {} y {} juntos",
                named("density.at"),
                named("density.temperature"),
                named("density.slope_kg_per_m3_per_c")
            ),
            "escriba lo que da el certificado de la carga",
        ),
        OfProduct::OtherDensity { load_kg_per_m3: load, name, held_kg_per_m3: held, part_most } => Said::new(
            format!("da a la carga {load:.0} kg/m3, pero {name} tiene {held:.0} kg/m3 a esa temperatura"),
            format!("a menos de {:.0} % de eso", part_most * 100.0),
            "corrija el número o su unidad; si es correcto, deténgase: puede no ser lo que contiene el tanque",
        ),
        OfProduct::HighBelowLow { high, low } => {
            Said::new(format!("{high} está por debajo del mínimo, {low}"), "", "corrija uno de los dos límites")
        }
    }
}

fn load(of: &OfLoad) -> Said {
    match of {
        OfLoad::OnBoardMissing => Said::new(
            "falta: un tramo propio necesita lo que hay a bordo antes de él",
            "",
            "tome los dos del acta del tramo anterior, que los imprime; de un compartimento, de sus papeles",
        ),
        OfLoad::WeighedAlone { there } => Said::new(
            format!("falta: {} está solo", named(&format!("ticket.{there}"))),
            "",
            "escriba los dos como están impresos, o ninguno",
        ),
        OfLoad::NetIsNotTheDifference { net_kg, difference_kg, u_kg } => Said::new(
            format!("es {net_kg:.0} kg, pero bruto menos tara da {difference_kg:.0} kg"),
            format!("a menos de {u_kg:.0} kg uno de otro, la u de la boleta"),
            "lea otra vez la boleta: bruto, tara, neto y sus unidades",
        ),
        OfLoad::AboveTrailer { load_m3, trailer_m3, most_kg, key } => Said::new(
            format!("la carga ocupa {load_m3:.1} m3, más que los {trailer_m3:.1} m3 de la cisterna"),
            format!("hasta {most_kg:.0} kg"),
            format!("corrija {} o {}, o sus unidades", named(key), named("trailer.volume")),
        ),
        OfLoad::AboveWhole { whole, most_kg, key } => above(*whole, *most_kg, key),
        OfLoad::AboveTank { tank, most_kg } => Said::new(
            format!("es más de lo que cabe en el tanque {tank:?} vacío"),
            format!("hasta {most_kg:.0} kg bajo el nivel alto-alto"),
            format!("corrija {} o {}, o su unidad", named("planned"), named("tank")),
        ),
        OfLoad::PartOfTicket { planned_kg, net_kg } => Said::new(
            format!("{} kg son menos de la mitad del neto de la boleta, {} kg", short(*planned_kg), short(*net_kg)),
            "",
            format!("corrija el número o su unidad; si el resto va a otro lugar, escriba 1 en {}", named("leg.number")),
        ),
        OfLoad::TrailerHardlyFilled { fill, fill_least, product } => Said::new(
            format!("la carga llena el {:.0} % de la cisterna", 100.0 * fill),
            format!("por lo común {:.0} % o más: {product} es denso", 100.0 * fill_least),
            format!("corrija {} o {}, o sus unidades", named("trailer.volume"), named("ticket.net")),
        ),
        OfLoad::BelowOnPlate { lower } => on_plate(lower),
        OfLoad::MawpBelowSite { mawp_pa, most_pa } => ceiling(*mawp_pa, *most_pa),
    }
}

fn above(whole: Whole, most_kg: f64, key: &str) -> Said {
    let (than, other) = match whole {
        Whole::TicketNet => ("se pesó con la carga", named("ticket.net")),
        Whole::OnBoard => ("hay a bordo", named("leg.on_board")),
    };
    Said::new(
        format!("es más de lo que {than}"),
        format!("hasta {most_kg:.0} kg, {other}"),
        format!("corrija {} o {other}, o sus unidades", named(key)),
    )
}

fn on_plate(lower: &str) -> Said {
    Said::new(
        format!("está por debajo de {}", named(&format!("plate.{lower}"))),
        format!(
            "{}, {} y {} en orden creciente",
            named("plate.mawp"),
            named("plate.relief_from"),
            named("plate.relief_to")
        ),
        "lea otra vez la placa, con sus unidades",
    )
}

fn ceiling(mawp_pa: f64, most_pa: f64) -> Said {
    let [mawp, most] = [mawp_pa, most_pa].map(|pa| short(pa / 1e3));
    Said::new(
        format!("{mawp} kPa manom. está por debajo del máximo del sitio, {most} kPa manom.: ese es el tope"),
        "",
        "lea otra vez la placa con su unidad; si es así, ajuste antes el regulador para esta cisterna",
    )
}
