//! What alarms say in Spanish that the delivery does not go as it should, or that it is time for something.

use super::{act, tank};
use crate::engine::input::AlarmId;
use crate::words::{Scene, Text, capital};

pub(super) fn spanish(scene: Scene<'_>, id: AlarmId, subject: u16) -> Text {
    match id {
        AlarmId::LevelCritical => act(
            format!("{} está en su nivel crítico o por encima: puede rebosar.", capital(&tank(scene, subject))),
            "Dónde mirar, de lejos: el nivel del tanque, su rebose y su venteo.",
        ),
        AlarmId::LevelSoon => act(
            format!("{} llega al nivel alto-alto antes de que nadie pueda actuar.", capital(&tank(scene, subject))),
            "Dónde mirar: el medidor del tanque, qué más lo llena.",
        ),
        AlarmId::PadRising => act(
            "La presión del colchón de gas sube y llega a su tope antes de que nadie pueda actuar.",
            "Dónde mirar: válvula de suministro de gas, regulador; si la salida o la línea están cerradas.",
        ),
        AlarmId::PadAtCeiling => act(
            "La presión del colchón de gas está en su tope o por encima.",
            "Dónde mirar: válvula de suministro de gas, regulador, el manómetro propio de la cisterna; si la salida o la línea \
             están cerradas.",
        ),
        AlarmId::PadFalling => act(
            "La presión del colchón de gas baja y llega a la del tanque antes de que nadie pueda actuar: puede volver líquido.",
            "Dónde mirar: suministro de gas, regulador, la manguera de gas.",
        ),
        AlarmId::PadBelowBand => act(
            "La presión del colchón de gas está por debajo de la mínima con la que descarga este sitio.",
            "Dónde mirar: suministro de gas, regulador, la manguera de gas.",
        ),
        AlarmId::PadAboveSupply => act(
            "La presión del colchón está por encima de la del suministro de gas: el producto puede volver a la línea de gas.",
            "Dónde mirar: suministro de gas, regulador, la válvula de retención entre ambos.",
        ),
        AlarmId::OtherTankRises => act(
            format!("{} sube aunque esta carga no va allí.", capital(&tank(scene, subject))),
            "Dónde mirar: válvulas entre los tanques. Si lo llena otra entrega: esta bahía no sabe de ella.",
        ),
        other => calm(scene, other, subject),
    }
}

/// Those that call for no stop.
fn calm(scene: Scene<'_>, id: AlarmId, subject: u16) -> Text {
    match id {
        AlarmId::AttendanceDue => say(
            "Pulse \u{ab}Estoy aquí\u{bb} en la pantalla propia de la bahía.",
            "Es hora de que quien está de guardia diga que está presente.".into(),
            "",
        ),
        AlarmId::AttendanceOverdue => say(
            "Pulse \u{ab}Estoy aquí\u{bb} en la pantalla propia de la bahía.",
            "Nadie dijo a tiempo que está presente.".into(),
            "",
        ),
        AlarmId::NobodyAttends => say(
            "Vaya y mire de lejos. Si no hay nadie, pare con la parada de emergencia o la válvula remota.",
            "El trasvase está en curso y nadie dice que está presente.".into(),
            "Quien estaba allí puede necesitar ayuda.",
        ),
        AlarmId::LevelWorking => say(
            "Esté listo para parar. Compare el espacio libre con el medidor propio del tanque.",
            format!("{} está en su nivel máximo de trabajo o por encima.", capital(&tank(scene, subject))),
            "",
        ),
        AlarmId::DrawOffChanged => say(
            "Compare el espacio libre con el medidor propio del tanque. Pregunte quién extrae.",
            "Se extrae del tanque otra cantidad que al empezar el trasvase.".into(),
            "El espacio libre es otro que el previsto.",
        ),
        AlarmId::ShutoffUnknown => say(
            "Mire el propio corte. Pare, salvo que esté en servicio o la persona a cargo lo haya aceptado por escrito.",
            "Nadie puede decir si el corte independiente por nivel alto está puenteado.".into(),
            "Queda así marcado hasta que se lea de nuevo su contacto y alguien lo haya visto.",
        ),
        AlarmId::NotIndependent => say(
            "Lea caudalímetro, báscula y nivel en los propios instrumentos.",
            "Dos instrumentos se siguen más de cerca de lo que dos pueden: quizá sean uno.".into(),
            "Lo que dicen juntos no prueba nada.",
        ),
        AlarmId::FlowStopped | AlarmId::FlowAbovePressure | AlarmId::FlowBelowPressure | AlarmId::PadCreeps => flow(id),
        AlarmId::LoadTemperatureOff => say(
            "Que la persona a cargo decida si el trasvase sigue.",
            format!("La carga está más fría o más caliente de lo que admite {}.", tank(scene, subject)),
            "Un producto frío se espesa o se congela en la línea; uno caliente ataca lo que toca.",
        ),
        AlarmId::DewPointHigh => say(
            "Que la persona a cargo decida si el trasvase sigue.",
            "El gas del colchón está más húmedo de lo que permite el sitio.".into(),
            "",
        ),
        AlarmId::NearFreezing => say(
            "No deje líquido parado en una línea fría. Que decida la persona a cargo.",
            format!(
                "Lo que hay en {} está más frío que la carga más fría que admite: puede espesarse o congelarse.",
                tank(scene, subject)
            ),
            "Una línea tapada que se descongela puede seguir bajo presión.",
        ),
        AlarmId::PadNotKnown => say(
            "Lea ahora el manómetro propio de la cisterna, y otra vez en cada ronda.",
            "Nadie mide la presión del colchón en la propia cisterna.".into(),
            "Con el gas cerrado, lo que se mide no dice nada de la cisterna.",
        ),
        AlarmId::FirstGasDue => say(
            "Esté en la válvula. Reduzca el gas y esté listo para cerrar.",
            "Desde ahora puede llegar gas por la salida de la cisterna.".into(),
            "",
        ),
        _ => act("Una alarma que todavía no tiene palabras.", ""),
    }
}

/// Un flujo, o lo que lo empuja, que no es el que debe ser.
fn flow(id: AlarmId) -> Text {
    match id {
        AlarmId::FlowStopped => say(
            "Averigüe por qué nada se mueve, sin abrir nada.",
            "El flujo se detuvo, y gran parte de la carga sigue en la cisterna.".into(),
            "Nada que esté quieto está por eso sin presión.",
        ),
        AlarmId::FlowAbovePressure => say(
            "Mire de lejos manguera, válvulas y uniones. Si algo gotea o salpica, pare y no se acerque.",
            "Pasa por el caudalímetro más de lo que la presión empuja, comparado con hace un minuto.".into(),
            "Una fuga después del caudalímetro, una válvula que alguien giró, gas en la línea o el propio caudalímetro: con esto nadie puede decir cuál.",
        ),
        AlarmId::PadCreeps => say(
            "Mire el regulador. Si nadie lo ha subido, cierre el gas.",
            "La presión del colchón sube más de lo que un regulador hace por sí solo.".into(),
            "Un asiento que cede deja pasar cada vez más. Con el gas cerrado, el colchón sigue empujando.",
        ),
        _ => say(
            "Mire de lejos manguera, válvulas y uniones. Si algo gotea o salpica, pare y no se acerque.",
            "Pasa por el caudalímetro menos de lo que la presión empuja, comparado con hace un minuto.".into(),
            "Una fuga antes del caudalímetro, una válvula que alguien giró, un tapón, un doblez o el propio caudalímetro: con esto nadie puede decir cuál.",
        ),
    }
}

/// Un texto que no pide parar.
fn say(act: &str, says: String, beyond: &str) -> Text {
    Text { act: act.into(), says, beyond: beyond.into(), ..Text::default() }
}
