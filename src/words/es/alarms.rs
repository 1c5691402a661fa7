//! The alarm catalogue in Spanish.

use super::{ACT, CARE};
use crate::engine::input::AlarmId;
use crate::words::alarms::Explained;

pub(super) fn spanish(id: AlarmId) -> Explained {
    let [means, causes, basis] = parts(id);
    Explained { means, causes, act: first(id), basis }
}

fn first(id: AlarmId) -> String {
    let act = match id {
        AlarmId::HighLevelProjected => "Pare antes de que entre toda la carga, o haga sitio con la persona a cargo.",
        AlarmId::SignalLost => "Vigile en el propio instrumento lo que medía; hágalo reparar.",
        AlarmId::OneWitnessLeft | AlarmId::LoadTemperatureOff | AlarmId::DewPointHigh => {
            "Que la persona a cargo decida si el trasvase sigue."
        }
        AlarmId::RecorderTrouble => "Tome notas a mano.",
        AlarmId::EstimatesRestarted => "Compare las masas con los propios instrumentos.",
        AlarmId::ReadingUnlikely => "No empiece antes de que esté explicado.",
        AlarmId::ShutoffBypassed => "Pare, salvo que la persona a cargo lo haya aceptado por escrito.",
        AlarmId::ShutoffUnknown => {
            "Mire el propio corte. Pare, salvo que esté en servicio o la persona a cargo lo haya aceptado por escrito."
        }
        AlarmId::DrawOffChanged => "Compare el espacio libre con el medidor propio del tanque. Pregunte quién extrae.",
        AlarmId::BeAtValve => "Esté en la válvula. Esté listo para reducir el gas y cerrar.",
        AlarmId::LevelWorking => "Esté listo para parar. Compare el espacio libre con el medidor propio del tanque.",
        AlarmId::NotIndependent => "Lea caudalímetro, báscula y nivel en los propios instrumentos.",
        AlarmId::FlowStopped => "Averigüe por qué nada se mueve, sin abrir nada.",
        AlarmId::FlowAbovePressure | AlarmId::FlowBelowPressure => {
            "Mire de lejos manguera, válvulas y uniones. Si algo gotea o salpica, pare y no se acerque."
        }
        AlarmId::NearFreezing => "No deje líquido parado en una línea fría. Que decida la persona a cargo.",
        AlarmId::PadNotKnown => "Lea ahora el manómetro propio de la cisterna, y otra vez en cada ronda.",
        AlarmId::PadCreeps => "Mire el regulador. Si nadie lo ha subido, cierre el gas.",
        AlarmId::FirstGasDue => "Esté en la válvula. Reduzca el gas y esté listo para cerrar.",
        AlarmId::AttendanceDue | AlarmId::AttendanceOverdue => {
            "Pulse \u{ab}Estoy aquí\u{bb} en la pantalla propia de la bahía."
        }
        AlarmId::NobodyAttends => {
            "Vaya y mire de lejos. Si no hay nadie, pare con la parada de emergencia o la válvula remota."
        }
        _ => return format!("{ACT} {CARE}"),
    };
    act.to_owned()
}

#[rustfmt::skip] // One sentence a line reads best as a table.
#[expect(clippy::too_many_lines, reason = "a table")]
fn parts(id: AlarmId) -> [&'static str; 3] {
    match id {
        AlarmId::LevelSwitchTripped => [
            "El interruptor independiente de nivel alto del tanque se disparó. Prevalece sobre cualquier otro instrumento.",
            "Más líquido en el tanque de lo que dicen los instrumentos; una bahía vecina lo llena; un interruptor leído al revés.",
            "El punto propio del interruptor, puesto por la planta. No se ajusta.",
        ],
        AlarmId::LevelHighHigh => [
            "Un medidor creíble del tanque está en el nivel alto-alto o por encima, o saturado allí.",
            "La carga no cabía; el tanque estaba más lleno de lo creído; otra bahía lo llena; un medidor con unidad, cero o escala equivocados.",
            "`high_high` del tanque en el archivo del sitio, de la evaluación de sobrellenado de la planta (API Standard 2350).",
        ],
        AlarmId::HighLevelProjected => [
            "Lo que aún puede venir no cabe bajo el nivel alto-alto: el margen es menor que nada.",
            "Contenido, carga o extracción distintos de los papeles; una bahía vecina; un medidor que está por encima de los otros.",
            "El margen según su testigo creíble más pesimista, con 2.33 incertidumbres típicas (uno de cada cien).",
        ],
        AlarmId::PadNearCeiling => [
            "La presión del colchón está cerca o por encima de lo menor entre el máximo del sitio, la MAWP y lo nominal de manguera, línea y conexiones.",
            "Suministro de gas demasiado abierto; un regulador que se corre; la salida o la línea cerradas u obstruidas.",
            "`near_ceiling` del límite más bajo del archivo del sitio y de la placa.",
        ],
        AlarmId::WitnessesDisagree => [
            "Los instrumentos no coinciden en cuánto se movió. Puede faltar líquido.",
            "Una fuga; un tanque equivocado u otro camino para el líquido; un instrumento que deriva, se traba o se ajustó mal.",
            "Umbrales calculados a partir de la tasa declarada de falsas alarmas; el veredicto nombra a quién concierne.",
        ],
        AlarmId::MovementOutsideTransfer => [
            "El caudalímetro muestra movimiento sin trasvase en curso.",
            "Una válvula abierta o que pasa; un trasvase empezado sin su anotación; el cero del caudalímetro.",
            "0.1 kg/s: un caudalímetro sin corte de bajo caudal se corre en reposo.",
        ],
        AlarmId::SignalLost => [
            "Una señal no se puede usar: sin respuesta, una falla que ella misma informa, fuera de su banda, o congelada.",
            "Cable, alimentación, aparato, red; una lectura al final de su alcance; un aparato que repite su último valor.",
            "Un período de consulta y el tiempo de espera de su aparato; los límites de corriente de NAMUR NE 43; para congelada, su propio límite declarado.",
        ],
        AlarmId::OneWitnessLeft => [
            "Un solo instrumento dice cuánto se movió. Nada se compara.",
            "Dos de caudalímetro, báscula y nivel del tanque están perdidos.",
            "Sale de las señales; nada que ajustar.",
        ],
        AlarmId::NoWitness => [
            "Ningún instrumento dice cuánto se movió.",
            "Red o alimentación de todos los aparatos; caudalímetro, báscula y nivel perdidos uno tras otro.",
            "Sale de las señales; nada que ajustar.",
        ],
        AlarmId::RecorderTrouble => [
            "Lo que pasa no está en el disco: espera en la memoria, o la memoria se llenó.",
            "Disco lleno, lento, de solo lectura o ausente.",
            "Sale del registro; nada que ajustar.",
        ],
        AlarmId::EstimatesRestarted => [
            "brimwatch tuvo una falla propia y empezó de nuevo sus estimaciones.",
            "Una falla de brimwatch. Conserve el registro e infórmela.",
            "Sale del programa; nada que ajustar.",
        ],
        AlarmId::ReadingUnlikely => [
            "Antes del trasvase una señal dice lo que no puede ser.",
            "Unidad, escala, desplazamiento, orden de bytes o dirección en el archivo del sitio; un manómetro que mide absoluta.",
            "La altura del tanque, los pesos de la cisterna y la atmósfera: lo que es posible en reposo.",
        ],
        AlarmId::WrongProduct => [
            "La densidad en la línea no es la de los papeles.",
            "Otro producto u otra concentración; gas en la línea; el densímetro.",
            "La densidad del producto a la temperatura de la línea, con la incertidumbre de tabla y medidor.",
        ],
        AlarmId::PossibleReaction => [
            "El tanque está más caliente que lo que tenía y que lo que entra.",
            "Una reacción con agua, un residuo u otro producto; el termómetro.",
            "3 K o tres incertidumbres típicas sobre el más caliente de los dos: la mezcla sola no puede calentar más.",
        ],
        AlarmId::PadAboveMawp => [
            "La presión del colchón está por encima de la MAWP de la placa de la cisterna.",
            "Suministro de gas demasiado abierto; un regulador que falló abierto; calor; una reacción en la cisterna.",
            "La placa. No se ajusta.",
        ],
        AlarmId::PadInReliefWindow => [
            "La presión del colchón está donde puede abrir la válvula de alivio de la cisterna.",
            "Como con la MAWP.",
            "La placa. No se ajusta.",
        ],
        AlarmId::PadBelowTank => [
            "La presión del colchón está por debajo de la del tanque: puede volver líquido o gas húmedo.",
            "Suministro de gas cerrado, vacío o congelado; la cisterna ventea; el venteo del tanque está cerrado.",
            "Tres incertidumbres típicas de los ceros de ambos manómetros.",
        ],
        AlarmId::TankPressureHigh => [
            "La presión sobre el líquido del tanque está cerca de su propio límite o por encima.",
            "Más gas del que deja pasar el venteo: la cisterna se vació, o el colchón es demasiado alto; un venteo cerrado, congelado u obstruido; una reacción.",
            "`near_ceiling` de `pressure_limit` del tanque en el archivo del sitio, según su placa o plano.",
        ],
        AlarmId::ReverseFlow => [
            "El caudalímetro marca hacia atrás.",
            "Presión del colchón perdida; la presión del tanque; un sifón; el cero o el signo del caudalímetro.",
            "0.2 kg/s: el doble de lo que se corre en reposo.",
        ],
        AlarmId::ShutoffBypassed => [
            "El corte independiente por nivel alto está puenteado: nada impide que el tanque rebose.",
            "Una llave o una válvula que quedó de una prueba o una reparación.",
            "Sale del contacto; nada que ajustar.",
        ],
        AlarmId::TruckGone => [
            "La báscula lleva menos de lo que debe pesar la cisterna con lo que aún tiene.",
            "La cisterna se fue o rodó fuera; la báscula.",
            "3000 kg por debajo de lo que debe estar ahí: más que cualquier viento, persona o manguera.",
        ],
        AlarmId::BeAtValve => [
            "El fin creíble más temprano, primer gas o un nivel, está a un tiempo de respuesta. Pertenece a toda entrega.",
            "La carga está casi adentro.",
            "`response_time` de la bahía antes del menor cuantil del 5 % entre los testigos creíbles.",
        ],
        AlarmId::AttendanceDue => [
            "Es hora de que quien está de guardia diga que está presente. Pertenece a toda entrega.",
            "El intervalo terminó.",
            "`attendance` de los límites de la bahía; una persona calificada está presente todo el tiempo (49 CFR 177.834(i)).",
        ],
        AlarmId::AttendanceOverdue => [
            "Nadie dijo a tiempo que está presente.",
            "Quien atiende está ocupado o no oyó; la guardia no se relevó; otra pantalla que la propia de la bahía.",
            "Un `response_time` después del intervalo.",
        ],
        AlarmId::NobodyAttends => [
            "El trasvase está en curso y nadie dice que está presente.",
            "Quien atiende se fue, está herido o dormido.",
            "Dos veces `response_time` después del intervalo.",
        ],
        AlarmId::LevelWorking => [
            "Un medidor creíble del tanque está en el nivel máximo de trabajo o por encima, o saturado allí.",
            "El tanque estaba más lleno de lo creído; se pidió más de lo que cabe.",
            "`working` del tanque en el archivo del sitio (API Standard 2350).",
        ],
        AlarmId::LevelCritical => [
            "Un medidor creíble del tanque está en el nivel crítico o por encima, o saturado allí: puede rebosar.",
            "Se pasó el nivel alto-alto; otra bahía o línea llena el tanque; un medidor con unidad, cero o escala equivocados.",
            "`critical` del tanque en el archivo del sitio (API Standard 2350).",
        ],
        AlarmId::LevelSoon => [
            "El nivel alto-alto se alcanza en menos de un tiempo de respuesta según el testigo creíble más pesimista.",
            "La carga no cabe; otra bahía o línea llena el tanque; un testigo muy desviado.",
            "`response_time` de la bahía antes del menor cuantil del 5 % entre los testigos creíbles.",
        ],
        AlarmId::NotIndependent => [
            "Dos instrumentos se siguen más de cerca de lo que permite su ruido: juntos no prueban nada.",
            "El registro de una señal leído por el de otra; un instrumento calculado a partir de otro.",
            "La tasa declarada de falsas alarmas, como para el veredicto.",
        ],
        AlarmId::PadRising => [
            "La tendencia de la presión del colchón llega a su tope en un tiempo de respuesta.",
            "Suministro de gas demasiado abierto; la salida o la línea cerradas u obstruidas.",
            "`response_time` de la bahía; es tendencia lo que supera tres de sus errores típicos, en un minuto.",
        ],
        AlarmId::PadAboveSupply => [
            "La presión del colchón está por encima de la del suministro de gas: el producto o su vapor puede volver a la línea de gas.",
            "Suministro de gas perdido; una válvula de retención que fuga; calor; una reacción en la cisterna.",
            "Tres incertidumbres típicas de los ceros de ambos manómetros.",
        ],
        AlarmId::FlowStopped => [
            "Nada pasa por el caudalímetro aunque gran parte de la carga sigue en la cisterna.",
            "Una válvula cerrada; presión del colchón perdida; una línea obstruida o congelada; el corte se cerró.",
            "Movimiento por debajo de 0.1 kg/s, y más del 5 % de la cantidad prevista por venir más allá de tres incertidumbres típicas.",
        ],
        AlarmId::OtherTankRises => [
            "Un tanque de la bahía al que no va esta carga sube durante el trasvase.",
            "Una válvula entre los tanques abierta o que fuga; la carga va al tanque equivocado; otra entrega de la que esta bahía no sabe.",
            "20 mm y cinco veces el ruido de su medidor sobre donde estaba al empezar.",
        ],
        AlarmId::LoadTemperatureOff => [
            "Lo que viene por la línea está más frío o más caliente de lo que el sitio admite en ese tanque.",
            "Una carga calentada de menos o de más; el termómetro de la línea.",
            "`temperature_low` y `temperature_high` del tanque en el archivo del sitio.",
        ],
        AlarmId::DewPointHigh => [
            "El gas del colchón está más húmedo de lo que permite el sitio.",
            "Un secador agotado; una fuga en la línea de gas; el analizador.",
            "`dew_point` del archivo del sitio.",
        ],
        AlarmId::PadAtCeiling => [
            "La presión del colchón está en el más bajo de los límites (máximo del sitio, MAWP, manguera, línea, conexiones) o por encima.",
            "Suministro de gas demasiado abierto; un regulador que sube solo; la salida o la línea cerradas u obstruidas.",
            "El límite más bajo del archivo del sitio y de la placa.",
        ],
        AlarmId::PadFalling => [
            "La tendencia de la presión del colchón llega a la del tanque en un tiempo de respuesta: entonces puede volver líquido.",
            "Suministro de gas perdido o cerrado; una manguera o unión de la línea de gas que fuga; un regulador congelado.",
            "`response_time` de la bahía; es tendencia lo que supera tres de sus errores típicos, en un minuto. No para el último 5 % de la carga.",
        ],
        AlarmId::PadBelowBand => [
            "La presión del colchón está por debajo de la mínima con la que descarga el sitio, mientras fluye líquido.",
            "Suministro de gas perdido o cerrado; un regulador demasiado bajo; una fuga en la línea de gas.",
            "`pad_minimum` de los límites de la bahía; no para el último 5 % de la carga.",
        ],
        AlarmId::DrawOffChanged => [
            "Se extrae del tanque otra cantidad que al empezar el trasvase: el espacio libre es otro.",
            "Un consumidor que se encendió o apagó; una válvula de la extracción; su caudalímetro.",
            "0.1 kg/s y cinco veces el ruido de su caudalímetro respecto al comienzo.",
        ],
        AlarmId::ShutoffUnknown => [
            "El contacto que dice si el corte está puenteado no dice nada: nadie sabe si actuaría.",
            "Su aparato o su línea; un interruptor de llave desconectado.",
            "Se sigue del contacto; nada que ajustar.",
        ],
        AlarmId::FlowAbovePressure => [
            "Pasa por el caudalímetro más de lo que explican presión y niveles, comparado con el minuto anterior. No señala ningún instrumento.",
            "Una fuga después del caudalímetro; una válvula que se abrió más; gas en la línea; el caudalímetro muestra más.",
            "3 % y seis desviaciones típicas, en dos bloques de cinco segundos; pasados dos minutos es la línea tal como está. No desde que se espera el primer gas, ni para el último 5 % de la carga; solo donde empuja un colchón.",
        ],
        AlarmId::FlowBelowPressure => [
            "Pasa por el caudalímetro menos de lo que explican presión y niveles, comparado con el minuto anterior. No señala ningún instrumento.",
            "Una fuga antes del caudalímetro; una válvula que alguien giró; un tapón; una manguera doblada; el caudalímetro muestra menos.",
            "Como para más de lo que la presión empuja. Mientras el caudal siga bajando espera a que termine.",
        ],
        AlarmId::NearFreezing => [
            "Lo que hay en el tanque está más frío que la carga más fría que admite: se espesa, o se congela en sus líneas.",
            "Calefacción apagada o débil; tiempo frío; una carga que entró fría; un termómetro que muestra de menos.",
            "`temperature_low` del producto del tanque; se vigila desde que se abre una entrega, donde el tanque tiene termómetro.",
        ],
        AlarmId::PadNotKnown => [
            "La presión del colchón se mide del lado del suministro de la manguera de gas, o no se mide: con el gas cerrado nadie conoce la de la cisterna. Allí pertenece a toda entrega.",
            "`pad_tap` de la bahía es `supply`, o no tiene señal de la presión del colchón.",
            "Se sigue del archivo del sitio; nada que ajustar.",
        ],
        AlarmId::PadCreeps => [
            "La presión del colchón sube más de lo que oscila un regulador, sin que fluya menos. Lo dice mucho antes de acercarse al tope.",
            "Un regulador cuyo asiento cede o que se atasca abierto; alguien lo ha subido; un transmisor de presión que deriva.",
            "4,5 desviaciones típicas de un regulador que oscila el 1,5 % de su presión en diez minutos, de 30 s a 4 min. No en el primer minuto del flujo, ni para el último 5 % de la carga; solo donde empuja un colchón.",
        ],
        AlarmId::FirstGasDue => [
            "Llegó la hora creíble más temprana del primer gas en la salida de la cisterna. Pertenece a toda entrega.",
            "La carga está casi adentro.",
            "El menor cuantil del 5 % entre los testigos creíbles.",
        ],
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::engine::alarm::catalogue::CATALOGUE;
    use crate::words::first_acts_due;

    /// The first act of whatever is about missing mass, pressure, level or reaction is the same sentence everywhere.
    #[test]
    fn first_acts_come_first() {
        for line in CATALOGUE {
            let act = spanish(line.id).act;
            assert_eq!(act.starts_with(ACT), first_acts_due(line.id), "{}", line.name);
        }
    }
}
