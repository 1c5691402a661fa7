//! Spanish, as it is written at plants in the Americas: the decimal sign is the point, as on the page in English and in
//! every field that is typed into.

mod alarms;
mod checks;
mod deviations;
mod doors;
mod duty;
mod findings;
mod labels;
mod papers;
mod record;
mod refused;
mod said;
mod screen;
mod steps;

use super::display;
use super::measures::{Shown, Written};
use super::steps::StepLabels;
use super::{
    CheckText, EntryAnswer, Figure, Labels, Language, NotTaken, PageWords, Scene, SettingsWord, SignInWord, Text,
    capital,
};
use crate::engine::blow::BlowState;
use crate::engine::checks::{Check, CheckId};
use crate::engine::frame::{
    Alarm, CeilingBy, Explanation, Margin, Pessimist, Phase, Reason, Shelf, Source, Suppressed, Validity, VerdictWord,
    WitnessId,
};
use crate::engine::input::{AlarmId, GapClock, OutOfService, Status, ZeroCause};
use crate::engine::settings::PadTap;
use crate::engine::steps::{Against, Signature, Stands};
use crate::time::{EngineTime, WallTime};

/// The language itself.
#[derive(Debug, Clone, Copy)]
pub struct Spanish;

const ACT: &str =
    "Pare: parada de emergencia o válvula remota. Cierre el gas. Apártese, del lado de donde viene el viento.";
const CARE: &str = "Mire solo de lejos, con la protección exigida. No toque ni apriete nada bajo presión.";

/// A trend that reaches the ceiling later than this is a regulator's wander: no number is made of it, s.
const TREND_SHOWN_S: f64 = 3600.0;
/// Below this trend, in Pa/s, the pad pressure is not said to rise or fall: as in English.
const TREND_PA_PER_S: f64 = 50.0 / 60.0;

const WITNESSES: [WitnessId; 3] = [WitnessId::Flow, WitnessId::Scale, WitnessId::Tank];

/// English and Spanish for the months that are not written alike.
const MONTHS: [(&str, &str); 12] = [
    ("Jan", "ene"),
    ("Feb", "feb"),
    ("Mar", "mar"),
    ("Apr", "abr"),
    ("May", "may"),
    ("Jun", "jun"),
    ("Jul", "jul"),
    ("Aug", "ago"),
    ("Sep", "sep"),
    ("Oct", "oct"),
    ("Nov", "nov"),
    ("Dec", "dic"),
];

/// A figure with its unit.
fn written(scene: Scene<'_>, shown: Shown, si: f64) -> String {
    let of = scene.measures.show(shown, si);
    Written { unit: Spanish.unit(of.unit), ..of }.whole()
}

fn mass(scene: Scene<'_>, kg: f64) -> String {
    scene.measures.mass(kg)
}

fn mass_up(scene: Scene<'_>, kg: f64) -> String {
    scene.measures.mass_up(kg)
}

fn room(scene: Scene<'_>, kg: f64) -> String {
    let of = scene.measures.show_down(Shown::LargeMass, kg);
    Written { unit: Spanish.unit(of.unit), ..of }.whole()
}

/// A gauge pressure in the reader's unit and in that of most plates.
fn plate(scene: Scene<'_>, pa_gauge: f64) -> String {
    scene.measures.plate(pa_gauge).replace(" gauge", " manom.")
}

fn clock(scene: Scene<'_>, at: EngineTime) -> String {
    Spanish.hh_mm(scene, scene.frame.clock.wall_at(at))
}

fn tank(scene: Scene<'_>, index: u16) -> String {
    scene.tank_in(index, labels::LABELS.tank)
}

/// A text that begins with the acts.
fn act(finding: impl Into<String>, beyond: impl Into<String>) -> Text {
    Text { act: ACT.into(), care: CARE.into(), says: finding.into(), beyond: beyond.into() }
}

impl Language for Spanish {
    fn tag(&self) -> &'static str {
        "es"
    }

    fn name(&self) -> &'static str {
        "Español"
    }

    fn reviewer(&self) -> Option<&'static str> {
        None
    }

    fn unit(&self, word: &'static str) -> &'static str {
        match word {
            "kPa gauge" => "kPa manom.",
            "bar gauge" => "bar manom.",
            "psi gauge" => "psi manom.",
            "Pa gauge" => "Pa manom.",
            "short tons" => "t cortas",
            "US gal" => "gal EE.UU.",
            "US gal/min" => "gal EE.UU./min",
            "lb/US gal" => "lb/gal EE.UU.",
            same => same,
        }
    }

    fn hh_mm(&self, scene: Scene<'_>, at: WallTime) -> String {
        let text = display::hh_mm(at, scene.frame.clock.wall_at(scene.frame.at), scene.zone);
        match MONTHS.iter().find(|(english, _)| text.contains(english)) {
            Some((english, spanish)) => text.replace(english, spanish),
            None => text,
        }
    }

    fn labels(&self) -> &'static Labels {
        &labels::LABELS
    }

    fn page(&self) -> &'static PageWords {
        &screen::SPANISH
    }

    fn witness(&self, id: WitnessId) -> &'static str {
        match id {
            WitnessId::Flow => "por caudalímetro",
            WitnessId::Scale => "por báscula",
            WitnessId::Tank => "por nivel",
        }
    }

    fn headline(&self, scene: Scene<'_>, alarmed: bool) -> Text {
        said::headline(scene, alarmed)
    }

    fn alarm(&self, scene: Scene<'_>, alarm: &Alarm) -> Text {
        said::alarm(scene, alarm)
    }

    fn duty(&self, scene: Scene<'_>) -> String {
        duty::duty(scene)
    }

    fn state(&self, scene: Scene<'_>) -> String {
        duty::state(scene)
    }

    fn shelved(&self, scene: Scene<'_>, shelf: &Shelf) -> String {
        duty::shelved(scene, shelf)
    }

    fn suppressed(&self, scene: Scene<'_>, suppressed: &Suppressed) -> String {
        duty::suppressed(scene, suppressed)
    }

    fn out_of_service(&self, scene: Scene<'_>, out: &OutOfService) -> String {
        duty::out_of_service(scene, out)
    }

    fn explained(&self, id: AlarmId) -> super::alarms::Explained {
        alarms::spanish(id)
    }

    fn finish(&self, scene: Scene<'_>) -> Figure {
        let frame = scene.frame;
        let by = frame.finish.be_at_valve_by;
        let now = by.is_some_and(|by| by <= frame.at);
        let figure = match by {
            _ if frame.phase != Phase::Transfer => "\u{2013}".to_owned(),
            Some(_) if now => "ahora".to_owned(),
            Some(by) => clock(scene, by),
            None => "no se sabe".to_owned(),
        };
        let mut lines = Vec::new();
        if frame.phase == Phase::Transfer {
            let event = |name: &str, m: Option<&_>| {
                m.map_or_else(|| format!("{name}: no se sabe"), |m| said::moment(scene, name, m))
            };
            lines.push(event("primer gas", frame.finish.first_gas.as_ref()));
            lines.push(event("cantidad prevista", frame.finish.planned.as_ref()));
            lines.push(match (&frame.finish.level, &frame.margin) {
                (None, Margin::Known { kg, .. }) if *kg >= 0.0 => "alto-alto: no con esta carga".into(),
                (level, _) => event("alto-alto", level.as_ref()),
            });
        }
        Figure { figure, unit: "", act: now && frame.phase == Phase::Transfer, lines }
    }

    fn margin(&self, scene: Scene<'_>) -> Figure {
        let Margin::Known { kg, pessimist, rest_by, by_witness_kg, .. } = &scene.frame.margin else {
            let why = match scene.frame.delivery {
                None => "no hay ninguna entrega abierta",
                Some(_) => "ningún medidor ni testigo creíble: cuente con que no hay sitio",
            };
            return Figure {
                figure: "no se sabe".into(),
                act: scene.frame.phase == Phase::Transfer,
                lines: vec![why.into()],
                ..Figure::default()
            };
        };
        let mut lines: Vec<String> = scene.frame.tank.and_then(|tank| said::opening(scene, tank)).into_iter().collect();
        if *kg < 0.0 {
            lines.push("La carga no cabe bajo el nivel alto-alto.".to_owned());
        }
        let contents = match pessimist {
            Pessimist::Gauge(signal) => format!("por medidor {}", scene.signal(*signal)),
            Pessimist::Witness(id) => self.witness(*id).to_owned(),
            Pessimist::LevelSwitch => "por el interruptor de nivel alto disparado".to_owned(),
            Pessimist::HandDip => "por medición a mano".to_owned(),
        };
        let rest = rest_by.map_or_else(|| "según los papeles".to_owned(), |id| self.witness(id).to_owned());
        lines.push(format!("La cuenta más prudente: contenido {contents}, resto de la carga {rest}."));
        let each: Vec<String> = WITNESSES
            .into_iter()
            .zip(by_witness_kg)
            .filter_map(|(id, kg)| kg.map(|kg| format!("{} {}", self.witness(id), room(scene, kg))))
            .collect();
        if !each.is_empty() {
            lines.push(format!("Cada uno solo: {}.", each.join(", ")));
        }
        let Written { figure, unit } = scene.measures.show_down(Shown::LargeMass, *kg);
        Figure { figure, unit: self.unit(unit), act: *kg < 0.0, lines }
    }

    fn margin_parts(&self, scene: Scene<'_>) -> Vec<(&'static str, f64)> {
        let Margin::Known { kg, parts, .. } = &scene.frame.margin else { return Vec::new() };
        let mut made = vec![
            ("masa en el nivel alto-alto", parts.at_high_high_kg),
            ("menos el mayor contenido creíble", parts.contents_kg),
            ("menos el mayor resto creíble de la carga", parts.rest_kg),
            ("menos lo que sigue pasando mientras cierra la válvula", parts.run_on_kg),
            ("menos el contenido de la línea", parts.line_kg),
            ("menos lo que empuja el soplado", parts.blow_clear_kg),
            ("menos 2.33 incertidumbres típicas", parts.allowance_kg),
            (said::opening_part(scene), parts.opening_kg),
        ];
        if !scene.settings.neighbours.is_empty() {
            made.push(("menos lo que otras bahías aún pueden traer", parts.neighbour_kg));
        }
        made.push(("margen bajo el nivel alto-alto", *kg));
        made
    }

    fn pad(&self, scene: Scene<'_>) -> Figure {
        let pad = &scene.frame.pad;
        let mut lines = Vec::new();
        if scene.settings.pad_tap == PadTap::Supply {
            lines.push("medida del lado del suministro de la manguera, no en la cisterna".to_owned());
        }
        if let Some(slope) = pad.slope_pa_per_s.filter(|s| s.abs() >= TREND_PA_PER_S) {
            let word = if slope > 0.0 { "sube" } else { "baja" };
            lines.push(format!("{word} {}", scene.measures.pressure_rate(slope.abs())));
        }
        if let Some(s) = pad.to_ceiling_s.filter(|s| *s <= TREND_SHOWN_S) {
            lines.push(format!("con esta tendencia llega al tope en {}", display::duration(s)));
        }
        let above = matches!((pad.pressure_pa_gauge, pad.ceiling_pa_gauge), (Some(p), Some(c)) if p > c);
        if above {
            lines.push("POR ENCIMA del tope".to_owned());
        }
        if pad.ceiling_pa_gauge.is_none() {
            lines.push("tope sin poner: falta anotar un límite o la placa".to_owned());
        }
        let shown = |pa| scene.measures.figure(Shown::GaugePressure, pa);
        let figure = pad.pressure_pa_gauge.map_or_else(|| labels::LABELS.pressure_unknown.to_owned(), shown);
        Figure { figure, unit: self.unit(scene.measures.unit_word(Shown::GaugePressure)), act: above, lines }
    }

    fn notes(&self, scene: Scene<'_>) -> Vec<String> {
        let frame = scene.frame;
        let mut notes = Vec::new();
        for reading in &frame.readings {
            let name = capital(&scene.signal(reading.signal));
            match reading.validity {
                Validity::Good | Validity::Lost(Reason::NotFitted) => {}
                Validity::Doubtful(reason) => notes.push(format!("{name} es de dudar: {}.", self.reason(reason))),
                Validity::Lost(reason) => notes.push(format!("Se perdió {name}: {}.", self.reason(reason))),
            }
            if reading.status == Status::MaintenanceRequired && reading.validity.is_credible() {
                notes.push(format!("{name} se usa; {}.", said::status(reading.status)));
            }
        }
        for witness in &frame.witnesses {
            let name = self.witness(witness.id);
            match witness.validity {
                Validity::Good | Validity::Lost(Reason::NotFitted | Reason::NoStart | Reason::NotYetRead) => {}
                Validity::Doubtful(reason) => {
                    notes.push(format!("La masa {name} es de dudar: {}.", self.reason(reason)))
                }
                Validity::Lost(reason) => notes.push(format!("La masa {name} no se usa: {}.", self.reason(reason))),
            }
        }
        if let Some(zero) = frame.delivery.as_ref().and_then(|d| d.scale_zero) {
            let (at, cause) = (clock(scene, zero.at), self.zero_cause(zero.cause));
            notes.push(format!("La báscula tiene un cero nuevo desde las {at}, {}: {cause}.", mass(scene, zero.kg)));
        }
        if frame.attendance.on_duty.is_some() || frame.attendance.due_at.is_some() {
            notes.push(self.duty(scene));
        }
        notes.extend(frame.shelves.iter().map(|shelf| self.shelved(scene, shelf)));
        notes.extend(frame.out_of_service.iter().map(|out| self.out_of_service(scene, out)));
        if let Some(gap) = &frame.blind {
            let known = match gap.known_by {
                GapClock::SameBoot => "",
                GapClock::WallClock => ", según el reloj de pared, que alguien puede haber cambiado",
            };
            notes.push(format!("A ciegas de las {} a las {}{known}.", clock(scene, gap.from), clock(scene, gap.to)));
        }
        notes.extend(frame.neighbours.iter().filter_map(|state| said::neighbour(scene, state)));
        notes.extend(said::recorder(frame.recorder));
        notes
    }

    fn reason(&self, reason: Reason) -> String {
        said::reason(reason)
    }

    fn explanation(&self, explanation: Explanation) -> &'static str {
        labels::explanation(explanation)
    }

    fn source(&self, source: Source) -> &'static str {
        labels::source(source)
    }

    fn ceiling_by(&self, by: CeilingBy) -> &'static str {
        match by {
            CeilingBy::Site => "máximo del sitio",
            CeilingBy::Mawp => "MAWP",
            CeilingBy::Hose => "manguera",
            CeilingBy::Line => "línea",
            CeilingBy::Connection => "conexión",
        }
    }

    fn together(&self, word: VerdictWord) -> &'static str {
        match word {
            VerdictWord::Agree | VerdictWord::None => "en conjunto",
            VerdictWord::NotYetProven => "aún sin probar",
            VerdictWord::Disagree | VerdictWord::CannotTellWhich => "no coinciden",
            VerdictWord::NotIndependent => "no independientes",
            VerdictWord::OneOnly => "uno solo",
        }
    }

    fn check(&self, scene: Scene<'_>, check: &Check) -> CheckText {
        checks::check(scene, check)
    }

    fn check_name(&self, id: CheckId) -> &'static str {
        checks::name(id)
    }

    fn checks(&self, scene: Scene<'_>) -> Text {
        checks::head(scene)
    }

    fn on_paper<'t>(&self, english: &'t str) -> &'t str {
        record::TEXTS.iter().find(|(of, _)| *of == english).map_or(english, |(_, text)| text)
    }

    fn papers(&self) -> &'static super::papers::PapersWords {
        &papers::WORDS
    }

    fn step_labels(&self) -> &'static StepLabels {
        &steps::LABELS
    }

    fn step<'a>(&self, text: &'a str) -> &'a str {
        steps::of_file(text)
    }

    fn stands(&self, stands: Option<Stands>) -> &'static str {
        steps::stands(stands)
    }

    fn signature(&self, scene: Scene<'_>, signature: &Signature) -> String {
        steps::signature(scene, signature)
    }

    fn against(&self, scene: Scene<'_>, against: &Against) -> String {
        steps::against(scene, against)
    }

    fn blow(&self, scene: Scene<'_>, blow: &BlowState) -> Vec<String> {
        steps::blow(scene, blow)
    }

    fn refused(&self, why: NotTaken) -> &'static str {
        refused::spanish(why)
    }

    fn entry(&self, answer: EntryAnswer<'_>) -> String {
        doors::entry(answer)
    }

    fn zero_cause(&self, cause: ZeroCause) -> &'static str {
        match cause {
            ZeroCause::PeopleOrTools => "personas o herramientas sobre la cisterna, o que bajaron de ella",
            ZeroCause::HoseOrLine => "manguera o línea apoyada en la cisterna, o quitada",
            ZeroCause::RainOrIce => "lluvia, nieve o hielo",
            ZeroCause::Tractor => "se enganchó o desenganchó el tractor",
            ZeroCause::ScaleItself => "alguien puso el cero propio de la báscula",
        }
    }

    fn sign_in(&self, word: SignInWord<'_>) -> String {
        doors::sign_in(word)
    }

    fn role(&self, word: &'static str) -> &'static str {
        doors::role(word)
    }

    fn settings(&self, word: SettingsWord<'_>) -> String {
        doors::settings(word)
    }
}
