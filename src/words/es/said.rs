//! What is said in Spanish of the frame: the sentence at the head, alarms, what the instruments say together.

use super::{CARE, Spanish, WITNESSES, act, clock, mass, mass_up, room, tank, written};
use crate::engine::frame::{
    Alarm, CheckedBy, Margin, Moment, NeighbourState, Phase, Reason, Slip, Tank, Validity, VerdictWord, WitnessId,
};
use crate::engine::input::{AlarmId, MissReason, RecorderState, Status};
use crate::engine::settings::SignalKind;
use crate::engine::slip;
use crate::words::measures::Shown;
use crate::words::{Language as _, Scene, Text, capital, list};

pub(super) fn headline(scene: Scene<'_>, alarmed: bool) -> Text {
    let frame = scene.frame;
    match (frame.phase, &frame.delivery) {
        (Phase::Idle, _) => says("No hay ninguna entrega abierta. Lo que se mueva ahora es una alarma."),
        (Phase::Opened, Some(d)) => says(format!(
            "La entrega {} está abierta, {} previstos. Nada puede moverse antes de anotar \u{ab}Trasvase empezado\u{bb}.",
            d.id,
            mass(scene, d.planned_kg)
        )),
        (Phase::Opened, None) => says("Nada puede moverse antes de anotar \u{ab}Trasvase empezado\u{bb}."),
        (Phase::Transfer, _) => {
            let moving = match frame.rate {
                Some(rate) => format!("Trasvase a {}.", written(scene, Shown::MassFlow, rate.value)),
                None => "El trasvase está en curso; no se sabe a qué ritmo.".to_owned(),
            };
            verdict(scene, moving, alarmed)
        }
        (Phase::Closed, _) => {
            let received = match frame.together {
                Some(t) => format!(
                    "Cerrado: {} recibidos (u {}).",
                    mass(scene, t.received_kg.value),
                    mass(scene, t.received_kg.u)
                ),
                None => "Cerrado; no se sabe qué masa se recibió.".to_owned(),
            };
            verdict(scene, received, alarmed)
        }
    }
}

fn says(text: impl Into<String>) -> Text {
    Text { says: text.into(), ..Text::default() }
}

fn calm(act: &str, says: impl Into<String>, beyond: impl Into<String>) -> Text {
    Text { act: act.to_owned(), says: says.into(), beyond: beyond.into(), ..Text::default() }
}

pub(super) fn alarm(scene: Scene<'_>, alarm: &Alarm) -> Text {
    let subject = alarm.key.subject;
    match alarm.key.id {
        AlarmId::LevelSwitchTripped => act(
            format!("El interruptor independiente de nivel alto de {} se disparó.", tank(scene, subject)),
            or_slip(scene, "Si el tanque no está tan lleno: ¿true_when, bit o dirección del interruptor?"),
        ),
        AlarmId::LevelHighHigh => act(
            format!("{} está en el nivel alto-alto o por encima.", capital(&tank(scene, subject))),
            or_slip(scene, "Si no lo está: ¿unidad, escala o desplazamiento del medidor, nivel o vacío?"),
        ),
        AlarmId::HighLevelProjected => level_projected(scene, subject),
        AlarmId::PadNearCeiling => act(
            pad_near_ceiling(scene),
            "Dónde mirar: válvula de suministro de gas, regulador, el manómetro propio de la cisterna.",
        ),
        AlarmId::WitnessesDisagree => disagree(scene),
        AlarmId::MovementOutsideTransfer => act(
            "Se mueve líquido sin trasvase en curso.",
            "Dónde mirar: la válvula de salida de la cisterna, la línea, la entrada del tanque. Si nada se mueve: ¿el cero \
             del caudalímetro, o unidad, desplazamiento o dirección en el archivo del sitio?",
        ),
        AlarmId::SignalLost => signal_lost(scene, subject),
        AlarmId::OneWitnessLeft => calm(
            "Que la persona a cargo decida si el trasvase sigue.",
            "Queda un solo instrumento y nada se compara.",
            "Ninguna fuga, por grande que sea, se vería aquí.",
        ),
        AlarmId::NoWitness => act("Ningún instrumento dice cuánto se movió.", ""),
        AlarmId::RecorderTrouble => calm(
            "Tome notas a mano.",
            recorder(scene.frame.recorder).unwrap_or_else(|| "El registro tuvo un problema.".to_owned()),
            "",
        ),
        AlarmId::EstimatesRestarted => calm(
            "Compare las masas con los propios instrumentos.",
            "brimwatch tuvo una falla propia y empezó de nuevo sus estimaciones.",
            "Lo que se movió entretanto se lleva con una incertidumbre mayor.",
        ),
        AlarmId::ReadingUnlikely => unlikely(scene, subject),
        other => hazard(scene, other, subject),
    }
}

fn instrument(id: WitnessId) -> &'static str {
    match id {
        WitnessId::Flow => "el caudalímetro",
        WitnessId::Scale => "la báscula",
        WitnessId::Tank => "el nivel del tanque",
    }
}

/// What the instruments say together, after a first sentence on what goes on.
fn verdict(scene: Scene<'_>, first: String, alarmed: bool) -> Text {
    let frame = scene.frame;
    let verdict = &frame.verdict;
    let used: Vec<&str> =
        frame.witnesses.iter().filter(|w| w.validity.is_credible()).map(|w| instrument(w.id)).collect();
    match verdict.word {
        VerdictWord::Agree => {
            let who = if used.len() == 3 { "Los tres instrumentos".to_owned() } else { capital(&list(&used, "y")) };
            let within = verdict.agree_within_kg.map_or_else(String::new, |x| format!(" en {}", mass_up(scene, x)));
            Text { says: format!("{first} {who} coinciden{within}."), beyond: unseen(scene), ..Text::default() }
        }
        VerdictWord::NotYetProven => Text {
            says: format!("{first} Aún sin probar."),
            beyond: "Se movió demasiado poco para que se notara un instrumento muerto o se viera una fuga.".into(),
            ..Text::default()
        },
        VerdictWord::Disagree | VerdictWord::CannotTellWhich if alarmed => says(first),
        VerdictWord::Disagree | VerdictWord::CannotTellWhich => disagree(scene),
        VerdictWord::NotIndependent => Text {
            says: format!(
                "{first} Dos instrumentos no son independientes: comparten un transmisor, o se siguen más de cerca de lo \
                 que permite su ruido."
            ),
            beyond: "Cuentan como uno. Una falla común, o una fuga, no se vería.".into(),
            ..Text::default()
        },
        VerdictWord::OneOnly => Text {
            says: format!("{first} Solo queda {}.", list(&used, "y")),
            beyond: "Nada se compara: ninguna fuga, por grande que sea, se vería aquí.".into(),
            ..Text::default()
        },
        VerdictWord::None if alarmed || frame.phase != Phase::Transfer => {
            says(format!("{first} Ningún instrumento dice cuánto se movió."))
        }
        VerdictWord::None => act("Ningún instrumento dice cuánto se movió.", ""),
    }
}

/// What agreement does not show. The larger of the two sides' smallest visible leaks, rounded up.
fn unseen(scene: Scene<'_>) -> String {
    let verdict = &scene.frame.verdict;
    let rate = |y: f64| scene.measures.mass_flow_up(y);
    match (verdict.leak_below_trailer_kg_per_min, verdict.leak_below_tank_kg_per_min) {
        (Some(a), Some(b)) => {
            format!("Una fuga menor de unos {}, o una que queda sobre la báscula, no se vería.", rate(a.max(b)))
        }
        (Some(y), None) => format!(
            "Una fuga antes del caudalímetro menor de unos {}, cualquiera después de él, o una que queda sobre la báscula, \
             no se vería.",
            rate(y)
        ),
        (None, Some(y)) => format!(
            "Cualquier fuga antes del caudalímetro, una después de él menor de unos {}, o una que queda sobre la báscula, no \
             se vería.",
            rate(y)
        ),
        (None, None) => "Ninguna fuga se vería.".into(),
    }
}

/// Label of what the margin loses to the opening level.
pub(super) fn opening_part(scene: Scene<'_>) -> &'static str {
    match scene.frame.tank.and_then(|tank| tank.opening.proven_by) {
        None => "menos 2.33 u del nivel de apertura, sin probar",
        Some(CheckedBy::Gauge(_)) => "menos 2.33 u del nivel de apertura, probado por un segundo medidor",
        Some(CheckedBy::LastClosing) => "menos 2.33 u del nivel de apertura, probado por el último cierre y el uso",
        Some(CheckedBy::HandDip) => "menos 2.33 u del nivel de apertura, probado por medición a mano",
    }
}

/// What proves, or does not prove, where the tank stood before the load came in.
pub(super) fn opening(scene: Scene<'_>, tank: Tank) -> Option<String> {
    let by = |by: CheckedBy| match by {
        CheckedBy::Gauge(signal) => format!("el medidor {}", scene.signal(signal)),
        CheckedBy::LastClosing => "el último nivel de cierre y lo extraído desde entonces".to_owned(),
        CheckedBy::HandDip => "la medición a mano".to_owned(),
    };
    match (tank.opening.against, tank.opening.proven_by) {
        (Some(other), _) => {
            Some(format!("Espacio no probado: {} no concuerda con el medidor. Averigüe cuál acierta.", by(other)))
        }
        (None, None) => {
            Some("Espacio no probado: solo el medidor propio del tanque dice cuán lleno estaba.".to_owned())
        }
        (None, Some(_)) => None,
    }
}

/// What is about to hurt somebody.
fn hazard(scene: Scene<'_>, id: AlarmId, subject: u16) -> Text {
    match id {
        AlarmId::WrongProduct => act(
            "La densidad en la línea no es la de los papeles: puede ser otro producto.",
            "Dónde mirar: papeles, precintos y etiqueta de producto de la cisterna; lo que hay en el tanque. La mezcla puede \
             reaccionar.",
        ),
        AlarmId::PossibleReaction => act(
            format!(
                "{} está más caliente que lo que tenía y que lo que entra: algo puede estar reaccionando.",
                capital(&tank(scene, subject))
            ),
            "Dónde mirar, de lejos: presión y temperatura del tanque. Llame a la persona a cargo.",
        ),
        AlarmId::PadAboveMawp => act(
            "La presión del colchón está por encima de la MAWP de la placa de la cisterna.",
            "Dónde mirar: válvula de suministro de gas, regulador, el manómetro propio de la cisterna. Que nadie esté junto \
             a la válvula de alivio.",
        ),
        AlarmId::PadInReliefWindow => act(
            "La presión del colchón está donde puede abrir la válvula de alivio de la cisterna.",
            "Dónde mirar: válvula de suministro de gas, regulador. La válvula de alivio puede soltar gas y líquido: no se \
             acerque a ella.",
        ),
        AlarmId::PadBelowTank => act(
            "La presión del colchón está por debajo de la del tanque: puede volver líquido o gas húmedo a la cisterna.",
            "Dónde mirar: suministro de gas, regulador, el venteo del tanque; luego cierre en el orden que no deja volver \
             nada.",
        ),
        AlarmId::ReverseFlow => act(
            "El caudalímetro marca hacia atrás: puede volver líquido a la cisterna.",
            "Dónde mirar: presión del colchón, presión del tanque, válvulas. Si nada se mueve: ¿el cero del caudalímetro?",
        ),
        AlarmId::ShutoffBypassed => calm(
            "Pare, salvo que la persona a cargo lo haya aceptado por escrito.",
            "El corte independiente por nivel alto está puenteado: nada impide que el tanque rebose.",
            "Queda así marcado durante toda la entrega.",
        ),
        AlarmId::TruckGone => act(
            "La cisterna se movió fuera de la báscula con el trasvase en curso.",
            "Dónde mirar, de lejos: manguera y conexiones. Si sigue ahí: ¿el aparato de la báscula?",
        ),
        AlarmId::TankPressureHigh => act(
            format!("La presión en {} está cerca del límite propio del tanque.", tank(scene, subject)),
            "Dónde mirar, de lejos: gas tras el último líquido, el colchón, el venteo del tanque; una reacción.",
        ),
        AlarmId::BeAtValve => calm(
            "Esté en la válvula. Esté listo para reducir el gas y cerrar.",
            "El fin creíble más temprano está a menos del tiempo de respuesta.",
            "",
        ),
        other => super::deviations::spanish(scene, other, subject),
    }
}

/// The instruments disagree: acts, what is missing, whose word it is, everything that may be behind it.
fn disagree(scene: Scene<'_>) -> Text {
    let verdict = &scene.frame.verdict;
    let kg = |kg| mass(scene, kg);
    let mut finding = match verdict.missing_kg {
        Some(m) if m.value >= 0.0 => format!("{} salieron de la cisterna y no llegaron (u {}).", kg(m.value), kg(m.u)),
        Some(m) => format!("Llegaron {} más de los que salieron de la cisterna (u {}).", kg(-m.value), kg(m.u)),
        None => "Los instrumentos no coinciden.".to_owned(),
    };
    if let Some(growing) = &verdict.growing {
        let kg_per_s = growing.kg_per_s.value.abs();
        let rate = scene.measures.mass_flow(kg_per_s, usize::from(kg_per_s < 0.15));
        finding += &format!(" La diferencia crece unos {rate} desde las {}.", clock(scene, growing.since));
    }
    let suspects: Vec<&str> =
        WITNESSES.into_iter().zip(verdict.suspects).filter(|(_, s)| *s).map(|(id, _)| instrument(id)).collect();
    match (verdict.word, suspects.as_slice()) {
        (_, []) => {}
        (VerdictWord::Disagree, [one]) => {
            finding += &format!(" {} no concuerda con los otros dos.", capital(one));
        }
        (_, some) => finding += &format!(" Se desvía {}: no se puede decir cuál.", list(some, "o")),
    }
    let behind: Vec<&str> = verdict.explanations.iter().map(|e| Spanish.explanation(*e)).collect();
    let beyond = match behind.as_slice() {
        [] => "No se sabe qué hay detrás.".to_owned(),
        [one] => format!("Lo que encaja: {one}."),
        [start @ .., end] => format!("Lo que encaja, lo más peligroso primero: {}; o {end}.", start.join("; ")),
    };
    act(finding, beyond)
}

fn level_projected(scene: Scene<'_>, index: u16) -> Text {
    let over = match &scene.frame.margin {
        Margin::Known { kg, .. } if *kg < 0.0 => {
            let over = room(scene, *kg).replace('\u{2212}', "");
            format!("La carga terminaría {over} por encima del nivel alto-alto de {}.", tank(scene, index))
        }
        _ => format!("No está probado que la carga termine bajo el nivel alto-alto de {}.", tank(scene, index)),
    };
    let by = match &scene.frame.finish.level {
        Some(level) => moment(scene, "Alto-alto", level) + ".",
        None => or_slip(scene, "Si hay sitio: ¿unidad, escala o desplazamiento del medidor, nivel o vacío?"),
    };
    calm(
        "No deje entrar toda la carga. Pare antes del nivel alto-alto: parada de emergencia o válvula remota.",
        over,
        by,
    )
}

fn pad_near_ceiling(scene: Scene<'_>) -> String {
    let pad = &scene.frame.pad;
    let shown = |pa| written(scene, Shown::GaugePressure, pa);
    match (pad.pressure_pa_gauge, pad.ceiling_pa_gauge) {
        (Some(p), Some(c)) => {
            let word = if p > c { "por encima de" } else { "cerca de" };
            let by = pad.ceiling_by.map_or("", |by| Spanish.ceiling_by(by));
            format!("La cisterna está a {}, {word} su tope de {} ({by}).", shown(p), shown(c))
        }
        (Some(p), None) => format!("La cisterna está a {} y su tope no está puesto.", shown(p)),
        (None, _) => "No se sabe la presión de la cisterna; estaba cerca de su tope.".to_owned(),
    }
}

fn signal_lost(scene: Scene<'_>, signal: u16) -> Text {
    let name = capital(&scene.signal(signal));
    let reading = scene.frame.readings.iter().find(|r| r.signal == signal);
    let says = match reading.map(|r| r.validity) {
        Some(Validity::Lost(reason)) => format!("Se perdió {name}: {}.", self::reason(reason)),
        _ => format!("Se había perdido {name} y volvió."),
    };
    let setup = scene.settings.signals.get(usize::from(signal));
    let looks = setup.zip(reading).and_then(|(setup, reading)| slip::of_lost(setup, reading));
    let out_of_range = reading.is_some_and(|r| r.validity == Validity::Lost(Reason::OutOfRange));
    let beyond = match looks {
        Some(slip) => format!("En el archivo del sitio: {}", slip_asks(slip)),
        None if out_of_range => {
            or_slip(scene, "En el archivo del sitio: ¿unidad, escala, desplazamiento, tipo, orden o dirección?")
        }
        None => String::new(),
    };
    if setup.is_some_and(|s| s.kind == SignalKind::PadPressure) {
        let act = "Sin otro manómetro que se pueda leer: pare (parada de emergencia o válvula remota), cierre el gas, \
                   apártese, del lado de donde viene el viento.";
        return Text { act: act.into(), care: CARE.into(), says, beyond };
    }
    calm("No se guíe por su último valor.", says, beyond)
}

/// A slip of the site file as what else it may be, while nothing should move yet.
fn or_slip(scene: Scene<'_>, asks: &str) -> String {
    let before = matches!(scene.frame.phase, Phase::Idle | Phase::Opened);
    if before { asks.to_owned() } else { String::new() }
}

/// A signal that says before the transfer what cannot be.
fn unlikely(scene: Scene<'_>, signal: u16) -> Text {
    let name = capital(&scene.signal(signal));
    let reading = scene.frame.readings.iter().find(|r| r.signal == signal);
    let says = match reading.map(|r| r.validity) {
        Some(Validity::Doubtful(Reason::Unlikely(slip))) => format!("{name} no puede ser así: {}", slip_asks(slip)),
        _ => format!("{name} no podía ser así antes del trasvase."),
    };
    calm(
        "No empiece antes de aclararlo.",
        says,
        "Compárelo con el propio instrumento, luego mire el archivo del sitio y los papeles.",
    )
}

/// What a slip looks like and what to look at, as a question.
fn slip_asks(slip: Slip) -> String {
    match slip {
        Slip::WordOrder => {
            "ningún instrumento envía un número así: ¿orden de palabras y bytes, tipo o dirección?".into()
        }
        Slip::Atmosphere => "cerca de una atmósfera de diferencia: ¿manométrica o absoluta?".into(),
        Slip::Factor(times) => format!("unas {times} veces de diferencia: ¿unidad o escala?"),
        Slip::Fahrenheit => "concuerda con los papeles en la otra unidad: ¿F o C?".into(),
        Slip::Pound => "concuerda en la otra unidad: ¿lb o kg?".into(),
        Slip::Net => "es más o menos la carga sola, sin la cisterna: ¿neto o bruto?".into(),
        Slip::NotTheLoad => "no corresponde a una cisterna con esta carga: ¿unidad, escala u otra cisterna?".into(),
        Slip::OtherDensity => "es más denso que el producto de los papeles: ¿unidad, escala u otro producto?".into(),
        Slip::OtherSignal => "se mueve aunque nada entra al tanque: ¿el registro de otra señal?".into(),
        Slip::Register => "el aparato no tiene ese registro: ¿dirección, address_base o función?".into(),
        Slip::Function => "el aparato no conoce esa petición: ¿función 1, 2, 3 o 4?".into(),
        Slip::GaugesDiffer => "el otro medidor del tanque dice otro nivel: ¿cero, unidad, escala u otro tanque?".into(),
        Slip::TooFast => "cuenta más rápido que cualquier flujo aquí: ¿unidad o escala, o se puso a 0?".into(),
    }
}

/// The same for beside a mass on a phone.
fn slip_short(slip: Slip) -> String {
    match slip {
        Slip::WordOrder => "¿orden de palabras?".into(),
        Slip::Atmosphere => "¿manométrica o absoluta?".into(),
        Slip::Factor(times) => format!("¿error de {times} veces?"),
        Slip::Fahrenheit => "¿F o C?".into(),
        Slip::Pound => "¿lb o kg?".into(),
        Slip::Net => "¿neto o bruto?".into(),
        Slip::NotTheLoad => "no pesa como esta carga".into(),
        Slip::OtherDensity => "más denso que el producto".into(),
        Slip::OtherSignal => "¿registro de otra señal?".into(),
        Slip::Register => "sin ese registro".into(),
        Slip::Function => "sin esa función".into(),
        Slip::TooFast => "más rápido que todo flujo".into(),
        Slip::GaugesDiffer => "el otro medidor difiere".into(),
    }
}

pub(super) fn status(status: Status) -> &'static str {
    match status {
        Status::Fair => "su aparato no dice nada en contra",
        Status::MaintenanceRequired => "su aparato pide mantenimiento",
        Status::OutOfSpecification => "su aparato dice: fuera de especificación",
        Status::FunctionCheck => "su aparato dice: en comprobación",
        Status::Failure => "su aparato dice: falla",
    }
}

/// Why a request had no usable answer.
fn missed(miss: MissReason) -> &'static str {
    match miss {
        MissReason::TimeOut => "sin respuesta a tiempo",
        MissReason::NoConnection => "sin conexión con el aparato",
        MissReason::ConnectionLost => "se cortó la conexión",
        MissReason::WrongLength => "respuesta de longitud equivocada",
        MissReason::Malformed => "no se pudo leer la respuesta",
        MissReason::QueueFull => "la cola de brimwatch estaba llena",
        MissReason::WrongTransaction => "la respuesta era de otra petición",
        MissReason::WrongUnit => "la respuesta vino de otra unidad",
        MissReason::WrongFunction => "la respuesta era a otra función",
        MissReason::BadChecksum => "la respuesta se dañó en la línea",
        MissReason::Unsettled => "puede quedar una respuesta tardía",
        MissReason::NameUnknown => "no se conoce el nombre del equipo",
        MissReason::PortAbsent => "no existe ese puerto serie",
        MissReason::PortForbidden => "este usuario no puede abrir el puerto",
        MissReason::PortTaken => "otro programa ocupa el puerto serie",
        MissReason::NotSerial => "la ruta no es un puerto serie utilizable",
    }
}

pub(super) fn reason(reason: Reason) -> String {
    match reason {
        Reason::NotYetRead => "aún no leído".into(),
        Reason::NotFitted => "aquí no hay ese instrumento".into(),
        Reason::Missed(miss) => missed(miss).into(),
        Reason::Stale => "su última lectura es demasiado vieja".into(),
        Reason::DeviceException(code) => format!("contesta con la excepción Modbus {code}"),
        Reason::NotANumber => "lo que envía no es un número".into(),
        Reason::OutOfRange => "fuera de lo verosímil".into(),
        Reason::Saturated => "al final del alcance del instrumento".into(),
        Reason::Frozen => "no se movió mientras se movía masa".into(),
        Reason::FrozenTogether => "todo su grupo sigue quieto".into(),
        Reason::HeartbeatStopped => "el pulso de su aparato se detuvo".into(),
        Reason::FailureCurrent => "su corriente de lazo indica una falla".into(),
        Reason::DeviceSays(status) => self::status(status).into(),
        Reason::Torn => "leído mientras sus cifras cambiaban".into(),
        Reason::MissingCorrection => "falta una corrección que necesita".into(),
        Reason::Disturbed => "saltó como con personas o espuma".into(),
        Reason::NotBack => "saltó y no ha vuelto".into(),
        Reason::OffTheTable => "fuera de su tabla".into(),
        Reason::NoStart => "no se tomó lectura inicial".into(),
        Reason::NeighbourNotHeard => "no se oye a la bahía vecina".into(),
        Reason::NeighbourUnknown => "la vecina no sabe cuánto trae".into(),
        Reason::NeighbourAtOdds => "caudal y báscula vecinos no coinciden".into(),
        Reason::Unlikely(slip) => format!("improbable: {}", slip_short(slip)),
        Reason::TotalReset => "su total se reinició o saltó".into(),
        Reason::DrivenOff => "la cisterna salió de la báscula".into(),
        Reason::OtherGauge => "primer medidor perdido: por otro".into(),
        Reason::CountsBack => "su total contó hacia atrás".into(),
    }
}

/// What another bay does to the tank that both fill; nothing where it does nothing to it.
pub(super) fn neighbour(scene: Scene<'_>, state: &NeighbourState) -> Option<String> {
    let bay = capital(&scene.neighbour(state.neighbour));
    let to_come = format!("faltan unos {} de su carga", mass(scene, state.rest_kg));
    if state.silent {
        let Some(heard) = state.heard_at else {
            return Some(format!("{bay}, que llena el mismo tanque, no se oye: no se sabe cuánto trae."));
        };
        let counted = if state.rest_kg > 0.0 {
            format!("{to_come} según su última palabra; contados en el margen")
        } else {
            "según su última palabra no falta nada de ninguna carga".to_owned()
        };
        let since = clock(scene, heard);
        return Some(format!("{bay}, que llena el mismo tanque, no se oye desde las {since}: {counted}."));
    }
    match state.phase {
        Phase::Transfer => Some(format!("{bay} llena el mismo tanque: {to_come}; contados en el margen.")),
        Phase::Opened => Some(format!("{bay} tiene una carga para el mismo tanque: {to_come}; contados en el margen.")),
        Phase::Idle | Phase::Closed => None,
    }
}

pub(super) fn recorder(state: RecorderState) -> Option<String> {
    match state {
        RecorderState::Durable => None,
        RecorderState::Waiting { bytes } => {
            Some(format!("El registro no puede escribir: {} KiB esperan en la memoria.", bytes.div_ceil(1024)))
        }
        RecorderState::Overflowed => {
            Some("La memoria del registro está llena: lo que pasa ahora no queda registrado.".into())
        }
    }
}

/// "primer gas 14:36, como pronto 14:34": the median by all, the smallest 5 % quantile of any.
pub(super) fn moment(scene: Scene<'_>, event: &str, moment: &Moment) -> String {
    format!("{event} {}, como pronto {}", clock(scene, moment.q50), clock(scene, moment.earliest))
}
