//! What is said in Spanish of the steps of a delivery; and the texts of the steps that come with brimwatch.

use super::{ACT, CARE, Spanish, mass, plate};
use crate::engine::blow::{Blow, BlowState};
use crate::engine::steps::{Against, Bar, Side, Signature, Stands};
use crate::units::{GaugePa, Kg};
use crate::words::display::number;
use crate::words::steps::StepLabels;
use crate::words::{Language as _, Scene};

pub(super) const LABELS: StepLabels = StepLabels {
    next: "Siguiente paso",
    of: "de",
    none_left: "Todos los pasos están firmados o se dejaron pasar.",
    hold_point: "Punto de espera",
    proof: "Escriba lo que se vio en el lugar",
    both: "Firman ambas partes",
    by_driver: "Firma el conductor",
    forbidden: "Ahora no",
    all: "Todos los pasos, firmados y por venir",
    before_all: "Primero van las normas locales, el procedimiento propio del sitio y la práctica profesional autorizada. Las \
                 personas confirman; una señal solo puede prohibir. El nitrógeno puede asfixiar sin aviso, en el domo y en \
                 el venteo.",
    which: "Paso",
    note: "Lo que se vio, o por qué se deja pasar",
    driver: "Nombre del conductor",
    sign_site: "Firmar por el sitio",
    sign_driver: "Firmar por el conductor",
    skip: "Dejarlo pasar sin firma",
    blow_begins: "Empieza el soplado",
    blow_ends: "Terminó el soplado",
};

pub(super) fn stands(stands: Option<Stands>) -> &'static str {
    match stands {
        Some(Stands::Open) => "su turno",
        Some(Stands::Signed) => "firmado",
        Some(Stands::Skipped) => "dejado pasar",
        None => "espera",
    }
}

pub(super) fn signature(scene: Scene<'_>, signature: &Signature) -> String {
    let Signature { side, who, at, note } = signature;
    let side = match side {
        Side::Site => "sitio",
        Side::Driver => "conductor",
    };
    let note = if note.is_empty() { String::new() } else { format!(": {note}") };
    format!("{side}, {who}, {}{note}", Spanish.hh_mm(scene, *at))
}

fn seconds(s: f64) -> String {
    format!("{}\u{a0}s", number(s.ceil(), 0))
}

pub(super) fn blow(scene: Scene<'_>, blow: &BlowState) -> Vec<String> {
    let mut lines = Vec::new();
    let (per_h, pressure) = (|kg_per_s| scene.measures.gas_flow(kg_per_s), |pa| plate(scene, pa));
    let most =
        blow.most_kg_per_s.map_or(String::new(), |most| format!(", {} como máximo por todo el paso", per_h(most)));
    if let Some(gas) = blow.gas_kg_per_s {
        lines.push(format!("Gas tras el último líquido: unos {} por la resistencia de la línea{most}.", per_h(gas)));
    } else if let Some(most) = blow.most_kg_per_s {
        lines.push(format!("Gas tras el último líquido: {} como máximo por todo el paso.", per_h(most)));
    }
    match (blow.vent_kg_per_s, blow.tank_pa_gauge.zip(blow.limit_pa_gauge)) {
        (None, _) => lines.push("Lo que deja pasar el venteo del tanque no está puesto (tank.vent_capacity).".into()),
        (Some(vent), None) => {
            lines.push(format!("El venteo del tanque deja pasar {}; su límite no está puesto.", per_h(vent)));
        }
        (Some(vent), Some((tank, limit))) => {
            let soon = blow.to_limit_s.map_or(String::new(), |s| format!(", a su límite en {}", seconds(s)));
            lines.push(format!(
                "El venteo del tanque deja pasar {}; el tanque llegaría a {}{soon}. Límite {}.",
                per_h(vent),
                pressure(tank),
                pressure(limit)
            ));
        }
    }
    if !blow.blows.is_empty() {
        let lasted = |b: &Blow| b.ended.unwrap_or(scene.frame.at).since_s(b.began);
        let each: Vec<String> = blow.blows.iter().map(|b| seconds(lasted(b))).collect();
        let times = if each.len() == 1 { "vez" } else { "veces" };
        lines.push(format!("Soplada {} {times}: {}.", each.len(), each.join(", ")));
    }
    lines
}

pub(super) fn against(scene: Scene<'_>, against: &Against) -> String {
    let Against { bar, forbids, value_si } = *against;
    if !forbids {
        return format!("{} no se puede leer: mire usted mismo y escriba en qué se basó", unseen(bar));
    }
    let (pressure, kg) = (|pa| plate(scene, pa), |kg| mass(scene, kg));
    let read = |shown: &dyn Fn(f64) -> String| value_si.map_or_else(|| "no se sabe".to_owned(), shown);
    match bar {
        Bar::ChecksOpen => "una comprobación de esta entrega falla o no está hecha".into(),
        Bar::Started => "ya se anotó \u{ab}Trasvase empezado\u{bb}".into(),
        Bar::NotStarted => "no se ha anotado \u{ab}Trasvase empezado\u{bb}".into(),
        Bar::NotClosed => "no se ha anotado \u{ab}Cerrado\u{bb}".into(),
        Bar::Flows => "algo pasa por el caudalímetro".into(),
        Bar::SwitchTripped => "el interruptor independiente de nivel alto se disparó".into(),
        Bar::EmergencyStop => "la parada de emergencia está pulsada".into(),
        Bar::ShutoffBypassed => "el corte está puenteado".into(),
        Bar::Disagree => "los instrumentos no coinciden".into(),
        Bar::PadAtCeiling => format!("el colchón está cerca de su tope: {}", read(&pressure)),
        Bar::PadAbove(GaugePa(limit)) => format!("el colchón está a {}, más de {}", read(&pressure), pressure(limit)),
        Bar::PadBelow(GaugePa(limit)) => format!("el colchón está a {}, menos de {}", read(&pressure), pressure(limit)),
        Bar::RisenLess(Kg(least)) => match value_si {
            Some(risen) => {
                format!("el medidor propio del tanque muestra {} recibidos, menos de {}", kg(risen), kg(least))
            }
            None => format!("el tanque no ha subido {}", kg(least)),
        },
        Bar::GasOverVent => format!(
            "seguirían {} de gas, más de lo que deja pasar el venteo del tanque: baje el colchón",
            read(&|kg_per_s| scene.measures.gas_flow(kg_per_s))
        ),
        Bar::TankPressureHigh => {
            format!("{ACT} {CARE} El tanque está cerca de su propio límite de presión: {}", read(&pressure))
        }
        Bar::AfterBlow(_) => format!("espere {} más después de soplar la manguera", read(&seconds)),
        Bar::OtherRises(_) => {
            format!("{ACT} {CARE} Otro tanque de esta bahía subió {}: puede ir líquido a donde no debe", read(&kg))
        }
    }
}

fn unseen(bar: Bar) -> &'static str {
    match bar {
        Bar::GasOverVent => {
            "Lo que deja pasar el venteo, o el gas que seguirá (vent_capacity, bore, loss del archivo del sitio),"
        }
        Bar::TankPressureHigh => "La presión del tanque, o su límite,",
        Bar::Flows => "Si algo fluye",
        Bar::SwitchTripped => "El interruptor de nivel alto",
        Bar::EmergencyStop => "La parada de emergencia",
        Bar::ShutoffBypassed => "El puenteo del corte",
        Bar::PadAtCeiling => "Cuán cerca está el colchón de su tope",
        Bar::PadAbove(_) | Bar::PadBelow(_) => "El colchón de la cisterna",
        Bar::RisenLess(_) => "El medidor propio del tanque",
        Bar::OtherRises(_) => "El medidor de otro tanque, u otra bahía llena ese tanque:",
        Bar::ChecksOpen | Bar::Started | Bar::NotStarted | Bar::NotClosed | Bar::Disagree | Bar::AfterBlow(_) => "Esto",
    }
}

/// A text of `config/steps.toml` in Spanish; what a site wrote itself stays as it wrote it.
pub(super) fn of_file(text: &str) -> &str {
    STEPS.iter().find(|(english, _)| *english == text).map_or(text, |(_, spanish)| spanish)
}

const SEEPS: (&str, &str) = (
    "If anything seeps: stop by emergency stop or remote valve, shut the gas, keep clear and upwind; look only from a distance, in the required protection; touch or tighten nothing under pressure.",
    "Si algo rezuma: pare con la parada de emergencia o la válvula remota, cierre el gas, apártese, del lado de donde viene el viento; mire solo de lejos, con la protección exigida; no toque ni apriete nada bajo presión.",
);

/// Each text of the file beside its translation.
#[rustfmt::skip] // One text a line reads best as a table.
const STEPS: &[(&str, &str)] = &[
    SEEPS,
    ("Parked where it stands during the whole unloading: brake set, engine off, chocks at the wheels. Key and papers handed over.",
     "Estacionado donde estará durante toda la descarga: freno puesto, motor apagado, calzas en las ruedas. Llave y papeles entregados."),
    ("Bonding cable connected to bare metal, and its continuity shown.",
     "Cable de puesta a masa conectado a metal desnudo, y su continuidad mostrada."),
    ("Barriers and signs are up. No flame, no hot work, no other vehicle, nobody in the bay who is not needed.",
     "Barreras y avisos puestos. Sin llama, sin trabajos en caliente, sin otro vehículo, sin nadie en la bahía que no haga falta."),
    ("Each side has shown the other how to stop: emergency stop, remote valve, gas valve. Shower and eyewash run. Both know the way out and the wind.",
     "Cada parte mostró a la otra cómo parar: parada de emergencia, válvula remota, válvula de gas. La ducha y el lavaojos dan agua. Ambas conocen la salida y el viento."),
    ("Named: who watches the tank, over which channel, and the word that stops. The channel was tried.",
     "Nombrados: quién vigila el tanque, por qué canal, y la palabra que detiene. El canal se probó."),
    ("Protection of the product's papers is on. Fall protection before anybody climbs.",
     "Puesta la protección que piden los papeles del producto. Protección contra caídas antes de que nadie suba."),
    ("Nitrogen can asphyxiate without warning, at the dome and at the vent: no head in the dome, nobody at the vent.",
     "El nitrógeno puede asfixiar sin aviso, en el domo y en el venteo: ninguna cabeza en el domo, nadie junto al venteo."),
    ("Hoses looked at: mark and test date, size, rating, dry inside, new gaskets, gauge and bleed on it. A doubtful one is set aside and tagged.",
     "Mangueras revisadas: marca y fecha de prueba, tamaño, presión nominal, secas por dentro, juntas nuevas, manómetro y purga puestos. La dudosa se aparta y se etiqueta."),
    ("The scrubber runs: liquor at its strength and level, flow seen, way from the tank to it open.",
     "El lavador de gases funciona: líquido con su concentración y nivel, flujo visto, paso desde el tanque abierto."),
    ("Vapour hose looked at like the others; trailer and tank can both bear the pressure of the other.",
     "Manguera de vapor revisada como las otras; cisterna y tanque soportan cada uno la presión del otro."),
    ("The tractor's compressor: relief valve, check valve and drier in its line, drained, free of oil; its highest pressure is below the weakest part. Its gas suits the cargo.",
     "El compresor del tractor: válvula de alivio, válvula de retención y secador en su línea, drenado, sin aceite; su presión más alta queda por debajo de la parte más débil. Su gas es apto para la carga."),
    ("Plant gas: the right gas by its tag, regulator backed off, relief valve and check valve in the line.",
     "Gas de planta: el gas correcto según su etiqueta, regulador aflojado, válvula de alivio y válvula de retención en la línea."),
    ("Both sides have seen the above and every check of this delivery is met: it may be connected.",
     "Ambas partes vieron lo anterior y cada comprobación de esta entrega se cumple: se puede conectar."),
    ("Seals read once more against the papers and cut, only where they must be. Internal and outlet valves are shut by hand.",
     "Precintos leídos otra vez contra los papeles y cortados, solo donde hace falta. Válvulas interna y de salida cerradas a mano."),
    ("Caps and plugs taken off slowly, standing aside, in full protection, over a drip pan; stop at the first hiss or drop.",
     "Tapas y tapones quitados despacio, de costado, con protección completa, sobre una bandeja; pare al primer silbido o la primera gota."),
    ("Standing at the receiving connection: its label, the papers and the page name one product and one tank.",
     "De pie junto a la conexión receptora: su rótulo, los papeles y la página nombran un solo producto y un solo tanque."),
    ("Liquid hose, and gas or vapour hose where there is one, connected at both ends: couplings locked and tied, hoses supported. Walked from end to end.",
     "Manguera de líquido, y de gas o vapor donde la haya, conectadas en ambos extremos: acoples trabados y atados, mangueras apoyadas. Recorridas de punta a punta."),
    ("Valves opened from the tank back towards the trailer, each by its tag; other tanks' valves shut. The tank's vent is free. The trailer's own outlet stays shut.",
     "Válvulas abiertas desde el tanque hacia la cisterna, cada una por su etiqueta; las de otros tanques, cerradas. El venteo del tanque está libre. La salida propia de la cisterna sigue cerrada."),
    ("Gas let in slowly up to the low pad of the leak check, commonly 5 to 10 psi. The regulator holds it.",
     "Gas admitido despacio hasta el colchón bajo de la prueba de fugas, comúnmente de 5 a 10 psi. El regulador lo mantiene."),
    ("Every joint looked at from a distance at the low pad; the hose's gauge stands still.",
     "Cada unión mirada de lejos con el colchón bajo; el manómetro de la manguera está quieto."),
    ("Hose filled by its own head, pump off; every joint looked at from a distance.",
     "Manguera llena por su propia altura, bomba apagada; cada unión mirada de lejos."),
    ("\"Transfer started\" entered, last valve opened, started slowly. The right tank is seen to rise by about 300 kg, and no other.",
     "\u{ab}Trasvase empezado\u{bb} anotado, última válvula abierta, empezado despacio. Se ve subir el tanque correcto unos 300 kg, y ningún otro."),
    ("Pad brought slowly to its working pressure, and seen to hold it without anybody's hand.",
     "Colchón llevado despacio a su presión de trabajo, y visto que se mantiene sin la mano de nadie."),
    ("Pump brought to its working rate; no noise of gas in it, no hammer, no shaking hose.",
     "Bomba llevada a su régimen de trabajo; sin ruido de gas, sin golpes, sin que la manguera tiemble."),
    ("Pressures of trailer and tank stay near each other; neither falls below the air's.",
     "Las presiones de cisterna y tanque siguen cerca una de otra; ninguna cae por debajo de la del aire."),
    ("A qualified person stays within reach of the stop for the whole unloading (49 CFR 177.834(i): within 25 ft, in view). A screen farther away is no attendance.",
     "Una persona calificada permanece al alcance de la parada durante toda la descarga (49 CFR 177.834(i): a menos de 25 ft, a la vista). Una pantalla más lejos no es presencia."),
    ("Called as nearly through. Somebody stands at the valve; the rate is brought down.",
     "Se avisó que está casi terminado. Hay alguien en la válvula; se baja el caudal."),
    ("Before gas follows: what the vent passes stands against the gas that will come. Pad lowered where it must be.",
     "Antes de que siga el gas: lo que deja pasar el venteo, comparado con el gas que vendrá. Colchón rebajado donde haga falta."),
    ("Gas follows the liquid into the tank: the tank's pressure watched. The hose is blown clear in short turns, shut as soon as gas is heard.",
     "El gas sigue al líquido hacia el tanque: presión del tanque vigilada. La manguera se sopla en turnos cortos, cerrando en cuanto se oye gas."),
    ("The tank's vent is free, and nobody is at it: nitrogen can asphyxiate without warning.",
     "El venteo del tanque está libre y no hay nadie junto a él: el nitrógeno puede asfixiar sin aviso."),
    ("Pump stopped before it draws gas.", "Bomba parada antes de que aspire gas."),
    ("Shut against backflow: the trailer's own outlet and the gas; about a minute for the hose to clear into the tank; then the tank's inlet and what lies between. Nothing moves any more; \"Closed\" entered.",
     "Cerrado contra el retroceso: la salida propia de la cisterna y el gas; cerca de un minuto para que la manguera se vacíe hacia el tanque; luego la entrada del tanque y lo que queda entre ambos. Ya nada se mueve; \u{ab}Cerrado\u{bb} anotado."),
    ("Hose bled where drips are caught, in full protection. What the hose's own gauge and its bleed showed is written here.",
     "Manguera purgada donde se recogen las gotas, con protección completa. Lo que mostraron su propio manómetro y su purga se escribe aquí."),
    ("No instrument on this page can say that a hose, a line or a trailer is empty or free of pressure.",
     "Ningún instrumento de esta página puede decir que una manguera, una línea o una cisterna esté vacía o sin presión."),
    ("Couplings opened slowly, standing aside; every drip caught. Hoses drained, capped and put away.",
     "Acoples abiertos despacio, de costado; cada gota recogida. Mangueras drenadas, tapadas y guardadas."),
    ("Caps, plugs and dust covers on at both ends, valves shut and tied; tag of residue on the trailer.",
     "Tapas, tapones y cubiertas puestos en ambos extremos, válvulas cerradas y atadas; etiqueta de residuo en la cisterna."),
    ("Pad left on the trailer for its way back, as its owner wants it (commonly 5 to 10 psi of dry gas): read on the trailer's own gauge and written here.",
     "Colchón dejado en la cisterna para el regreso, como lo quiere su dueño (comúnmente de 5 a 10 psi de gas seco): leído en el manómetro propio de la cisterna y escrito aquí."),
    ("Bay looked over, bonding off, chocks and barriers away, papers handed over: the vehicle may go.",
     "Bahía revisada, puesta a masa quitada, calzas y barreras retiradas, papeles entregados: el vehículo puede irse."),
];

#[cfg(test)]
mod tests {
    use super::*;

    /// Every text of the steps that come with brimwatch has a translation, and every translation its text.
    #[test]
    fn every_step_that_comes_with_brimwatch_is_translated() {
        let file: toml::Table = include_str!("../../../config/steps.toml").parse().expect("TOML");
        let steps = file["step"].as_array().expect("steps");
        let texts: Vec<&str> = steps
            .iter()
            .flat_map(|s| ["text", "care"].map(|key| s.get(key).and_then(|t| t.as_str())))
            .flatten()
            .collect();
        assert!(texts.len() > 30);
        for text in &texts {
            assert_ne!(of_file(text), *text, "not translated");
        }
        for (english, _) in STEPS {
            assert!(texts.contains(english), "no step says {english:?}");
        }
        assert_eq!(of_file("A step of the site's own."), "A step of the site's own.");
    }
}
