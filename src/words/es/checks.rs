//! Spanish for the checks of a delivery.

use super::{Spanish, mass_up, plate, written};
use crate::engine::checks::{Check, CheckId, CheckState, Paper, Wanted, Why};
use crate::engine::papers::Property;
use crate::words::measures::Shown;
use crate::words::{CheckText, Language as _, Scene, Text, plain};

/// What is checked, as a line of a list.
pub(super) fn name(id: CheckId) -> &'static str {
    match id {
        CheckId::Product => "Producto correcto para este tanque",
        CheckId::ShippingDescription => "Descripción de embarque",
        CheckId::HazardMarking => "Marcas de peligro",
        CheckId::Certificate => "Certificado dentro de sus límites",
        CheckId::SealNumbers => "Números de los precintos",
        CheckId::SealsUnbroken => "Precintos vistos intactos",
        CheckId::CarrierAndDriver => "Transportista y conductor",
        CheckId::Plate => "Placa de la cisterna anotada",
        CheckId::PlateReadBack => "Placa leída de nuevo",
        CheckId::LoadFits => "La carga cabe en el tanque",
        CheckId::TrailerPressure => "Presión de la cisterna",
        CheckId::TrailerTemperature => "Temperatura de la cisterna",
        CheckId::PadGas => "Gas del colchón",
        CheckId::DewPoint => "Punto de rocío del gas",
        CheckId::GasRelief => "Válvula de alivio del suministro de gas",
        CheckId::ShutoffTested => "Corte por nivel alto probado",
        CheckId::ShutoffInService => "Corte por nivel alto en servicio",
        CheckId::ConnectionIdentified => "Conexión receptora identificada",
        CheckId::EmergencyEquipment => "Equipo de emergencia mostrado",
    }
}

/// What a person has to do for a check that only a person can make.
fn asks(scene: Scene<'_>, id: CheckId) -> String {
    match id {
        CheckId::SealsUnbroken => "mire cada precinto: domo, válvulas, salida".into(),
        CheckId::PlateReadBack => {
            format!("lea otra vez la placa, con sus unidades, y compárela con lo anotado: {}", of_plate(scene))
        }
        CheckId::PadGas => {
            format!("en esta bahía es {}: vea que los papeles del producto lo permitan", scene.settings.gas.name)
        }
        CheckId::DewPoint => {
            let most = written(scene, Shown::Temperature, scene.settings.expected.dew_point.0);
            format!("sin señal: lea el secador, como máximo {most}")
        }
        CheckId::ShutoffInService => {
            "vea que esté encendido, sin puentear, y que actúe sobre la válvula correcta".into()
        }
        CheckId::ConnectionIdentified => {
            "párese junto a la conexión receptora; su rótulo y los papeles nombran un solo producto y un solo tanque"
                .into()
        }
        CheckId::EmergencyEquipment => {
            "muestre al conductor la ducha, el lavaojos, la parada de emergencia, el teléfono y la salida".into()
        }
        _ => String::new(),
    }
}

/// What was typed off the plate.
fn of_plate(scene: Scene<'_>) -> String {
    let pad = &scene.frame.pad;
    let each =
        [("MAWP", pad.mawp_pa_gauge), ("alivio desde", pad.relief_from_pa_gauge), ("hasta", pad.relief_to_pa_gauge)];
    each.map(|(label, pa)| format!("{label} {}", pa.map_or_else(|| "sin poner".to_owned(), |pa| plate(scene, pa))))
        .join(", ")
}

fn paper(paper: Paper) -> &'static str {
    match paper {
        Paper::ProductTag => "etiqueta del producto",
        Paper::ShippingDescription => "descripción de embarque",
        Paper::Marking => "marcas de peligro encontradas",
        Paper::Certificate => "certificado con sus propiedades",
        Paper::SealsExpected => "números de precinto de los papeles",
        Paper::SealsFound => "números de precinto encontrados",
        Paper::Carrier => "transportista",
        Paper::Driver => "conductor",
        Paper::PressureFound => "presión de la cisterna al llegar",
        Paper::TemperatureFound => "temperatura de la cisterna al llegar",
    }
}

fn wanted(wanted: Wanted) -> &'static str {
    match wanted {
        Wanted::Specification => "la especificación de la placa",
        Wanted::Mawp => "la MAWP de la placa",
        Wanted::Relief => "el ajuste de alivio de la placa",
        Wanted::HoseRating => "la presión nominal de la manguera",
        Wanted::LineRating => "la presión nominal de la línea",
        Wanted::ConnectionRating => "la presión nominal de la conexión",
        Wanted::ShippingDescription => "la descripción de embarque del producto (archivo del producto)",
        Wanted::Marking => "las marcas de peligro del producto (archivo del producto)",
        Wanted::TemperatureLimits => "los límites de temperatura del producto (archivo del producto)",
        Wanted::GasRelief => "el ajuste de alivio del suministro (bay.supply.relief)",
        Wanted::ShutoffTested => "el día de la última prueba (tank.shutoff_tested)",
    }
}

fn limits(low: Option<String>, high: Option<String>) -> String {
    match (low, high) {
        (Some(low), Some(high)) => format!("límites {low} a {high}"),
        (Some(low), None) => format!("al menos {low}"),
        (None, Some(high)) => format!("como máximo {high}"),
        (None, None) => "sin límites".to_owned(),
    }
}

fn why(scene: Scene<'_>, check: &Check, why: &Why) -> String {
    match why {
        Why::NotWritten(missing) => format!("no está en los papeles de la entrega: {}", paper(*missing)),
        Why::NotSet(missing) => format!("sin poner: {}", wanted(*missing)),
        Why::Found(found) => format!("encontrado: {found}"),
        Why::Differs { expected, found } => format!("encontrado: {found}; esperado: {expected}"),
        Why::Pressure { pa_gauge, most_pa_gauge } => {
            format!("{}, como máximo {}", plate(scene, *pa_gauge), plate(scene, *most_pa_gauge))
        }
        Why::Temperature { c, low_c, high_c } => {
            let shown = |c| written(scene, Shown::Temperature, c);
            format!("{}, {}", shown(*c), limits(low_c.map(shown), high_c.map(shown)))
        }
        Why::NoValue(property) => format!("sin valor de {property}"),
        Why::NoLimits(property) => format!("sin límites de {property}"),
        Why::Property(Property { name, value, unit, low, high }) => {
            let of = |limit: &Option<f64>| limit.map(plain);
            let value = value.map_or_else(|| "sin valor".to_owned(), plain);
            format!("{name} {value} {unit}, {}", limits(of(low), of(high)))
        }
        Why::Properties(1) => "la única propiedad que trae".into(),
        Why::Properties(count) => format!("las {count} propiedades que trae"),
        Why::Room { kg: room, .. } if *room < 0.0 => {
            format!("{} de más para el nivel alto-alto cuando esté todo adentro", mass_up(scene, -room))
        }
        Why::Room { kg: room, opening_kg } => {
            let [room, kept] = [scene.measures.mass_down(*room), mass_up(scene, *opening_kg)];
            format!(
                "quedan {room} bajo el nivel alto-alto con todo adentro; {kept} reservados para la comprobación de apertura"
            )
        }
        Why::MarginUnknown => "el margen aún no se conoce: ningún nivel que se pueda usar".into(),
        Why::NotRead(signal) => format!("{} no da ningún valor que se pueda usar", scene.signal(*signal)),
        Why::Tested { days, .. } if *days < 0 => "su fecha está por delante del reloj".into(),
        Why::Tested { days, most_days } => format!("hace {days} días, como máximo {most_days}"),
        Why::SwitchTripped => "el interruptor independiente de nivel alto se disparó".into(),
        Why::Bypassed => "el corte está puenteado".into(),
        Why::NotEntered => asks(scene, check.id),
        Why::Entered { who, at, note } => {
            let note = if note.is_empty() { String::new() } else { format!(": {note}") };
            format!("{who}, {}{note}", Spanish.hh_mm(scene, *at))
        }
    }
}

fn state(state: CheckState) -> &'static str {
    match state {
        CheckState::Met => "cumple",
        CheckState::NotYet => "aún no",
        CheckState::Fails => "falla",
    }
}

/// A check in words.
pub(super) fn check(scene: Scene<'_>, check: &Check) -> CheckText {
    let mut says = check.why.iter().map(|w| why(scene, check, w)).collect::<Vec<_>>().join("; ");
    if says.is_empty() {
        says = "como dicen los papeles de la entrega".to_owned();
    }
    CheckText { name: name(check.id), state: state(check.state), says }
}

/// What the checks call for, and whom to call.
pub(super) fn head(scene: Scene<'_>) -> Text {
    let frame = scene.frame;
    let of = |wanted: CheckState| frame.checks.iter().filter(|c| c.state == wanted).collect::<Vec<_>>();
    let (fails, open) = (of(CheckState::Fails), of(CheckState::NotYet));
    let names = |checks: &[&Check]| checks.iter().map(|c| name(c.id).to_lowercase()).collect::<Vec<_>>().join(", ");
    if let Some(reason) = frame.delivery.as_ref().and_then(|d| d.rejected.as_ref()) {
        return Text { says: format!("Rechazada: {reason}"), beyond: calls(scene), ..Text::default() };
    }
    if !fails.is_empty() {
        return Text {
            act: "Espere: no conecte nada.".into(),
            care: "Si esta carga se retiene o se rechaza lo deciden las personas de abajo, no esta página.".into(),
            says: format!("Falla: {}.", names(&fails)),
            beyond: calls(scene),
        };
    }
    if open.is_empty() {
        return Text {
            says: "Todas las comprobaciones se cumplen. Eso no dice nada de lo que no se preguntó.".into(),
            ..Text::default()
        };
    }
    Text { says: format!("Aún no: {}.", names(&open)), ..Text::default() }
}

fn calls(scene: Scene<'_>) -> String {
    let contacts = &scene.settings.expected.contacts;
    let each =
        [("Supervisor", &contacts.supervisor), ("Expedidor", &contacts.shipper), ("Proveedor", &contacts.supplier)];
    let known = each.iter().filter_map(|(label, who)| who.as_ref().map(|who| format!("{label}: {who}.")));
    let known = known.collect::<Vec<_>>().join(" ");
    if known.is_empty() {
        "El archivo del sitio no nombra a nadie a quien llamar ([contacts]).".to_owned()
    } else {
        known
    }
}
