//! The drill's time line as a picture: what was so, what each witness said, the pad against its ceiling, the harm, and
//! the moments that a trainer talks about.

use super::lives::{Lives, So};
use super::outcome::{Answers, Moment};
use super::paper::clock;
use super::told::{Said, Told, phase};
use brimwatch::engine::frame::WitnessId;
use brimwatch::picture::{Curve, Mark, MarkKind, Panel, Size, Stroke, TimeLine, time_line};
use brimwatch::units::Quantity;
use brimwatch::words::Language;
use brimwatch::words::en::English;
use maud::{Markup, html};

/// Witnesses in the order of frames, and how they are drawn.
const WITNESSES: [(WitnessId, Stroke); 3] =
    [(WitnessId::Flow, Stroke::Flow), (WitnessId::Scale, Stroke::Scale), (WitnessId::Tank, Stroke::Tank)];

/// The picture begins at most so long before the start, s.
const BEFORE_S: f64 = 300.0;
/// The picture goes on for at most this part of the drill's time after its end, 1.
const AFTER: f64 = 1.5;
/// And for this part beyond a bad end that lies there, 1.
const BEYOND: f64 = 1.02;

/// A drill as far as it has come.
pub struct Course<'a> {
    /// What the monitor said.
    pub told: &'a Told,
    /// What was so; None: nobody knows.
    pub lives: Option<&'a Lives>,
    /// The moments, s after the start.
    pub answers: &'a Answers,
    /// The start by the plant's time, s, or the arrival.
    pub zero_s: f64,
    /// Name of the axis of time.
    pub since: &'static str,
    /// How far it has come by the plant's time, s.
    pub until_s: f64,
    /// It is over: what would have been is shown beyond its end too.
    pub over: bool,
}

impl Course<'_> {
    /// For wide and for narrow screens; paper takes the wide one.
    #[must_use]
    pub fn picture(&self) -> Markup {
        let line = self.time_line();
        html! { (time_line(&line, Size::Wide)) (time_line(&line, Size::Narrow)) }
    }

    fn time_line(&self) -> TimeLine {
        let since = |at_s: f64| at_s - self.zero_s;
        let mut phases: Vec<(f64, String)> =
            self.told.phases.iter().map(|(at_s, p)| (since(*at_s), phase(*p).to_owned())).collect();
        if self.over {
            phases.push((since(self.until_s), "over".to_owned()));
        }
        let marks = marks(self.answers);
        let said = marks.iter().map(|mark| format!("{}{}", mark.words, mark.detail)).collect::<Vec<_>>().join("; ");
        TimeLine {
            stamp: "DRILL",
            label: format!("Time line of a drill. {said}"),
            from_s: since(self.begins_s()),
            to_s: since(self.ends_s()),
            time: self.since.to_owned(),
            phases,
            marks,
            panels: self.panels(),
        }
    }

    /// The beginning of the picture: a while before the start, or before what was wrong even then.
    fn begins_s(&self) -> f64 {
        let earliest_s = self.answers.began_s.map_or(0.0, |s| s.min(0.0));
        (self.zero_s + earliest_s - BEFORE_S).max(0.0)
    }

    /// The end of the picture: where the bad end would have come a while after the drill's end, that is on it too.
    fn ends_s(&self) -> f64 {
        let bad_end_s = self.lives.and_then(|lives| lives.bad_end_s).filter(|_| self.over);
        bad_end_s.map_or(self.until_s, |s| s * BEYOND).clamp(self.until_s, self.until_s * AFTER)
    }

    fn panels(&self) -> Vec<Panel> {
        let against = if self.lives.is_some() { "what is so" } else { "all together" };
        let mut received = self.witnesses(|said| said.received_kg, 1e-3);
        received.extend(self.so("as it is", Stroke::So, |so| so.received_kg / 1000.0));
        received.rotate_right(usize::from(self.lives.is_some()));
        let mut pad: Vec<Curve> = self.so("as it is", Stroke::So, |so| so.pad_pa_gauge / 1000.0).into_iter().collect();
        pad.push(self.said("by its gauge", Stroke::Shown, |said| Some(said.pad_pa_gauge? / 1000.0)));
        let ceiling = self.told.said.points().iter().rev().find_map(|(_, said)| said.ceiling_pa_gauge);
        let ceiling = ceiling.map(|pa| (pa / 1000.0, format!("ceiling {:.0}", pa / 1000.0)));
        let panel = |title: String, height, least, curves| Panel {
            title,
            height,
            least,
            limits: Vec::new(),
            above: "from above",
            curves,
        };
        let mut panels = vec![
            panel("received, t".to_owned(), 150.0, (0.0, 0.1), received),
            panel(
                format!("by how much each is off from {against}, kg"),
                110.0,
                (-50.0, 50.0),
                self.witnesses(|said| said.off_kg, 1.0),
            ),
            Panel {
                limits: ceiling.into_iter().collect(),
                ..panel("pad pressure, kPa gauge".to_owned(), 80.0, (0.0, 10.0), pad)
            },
        ];
        panels.extend(self.harm());
        panels
    }

    fn witnesses(&self, of: fn(&Said) -> [Option<f64>; 3], unit: f64) -> Vec<Curve> {
        let curve = |(at, (id, stroke)): (usize, (WitnessId, Stroke))| {
            self.said(English.witness(id), stroke, move |said| of(said)[at].map(|value| value * unit))
        };
        WITNESSES.into_iter().enumerate().map(curve).collect()
    }

    fn said(&self, name: &str, stroke: Stroke, of: impl Fn(&Said) -> Option<f64>) -> Curve {
        let points = self.told.said.points().iter().filter(|(at_s, _)| *at_s >= self.begins_s());
        let points = points.map(|(at_s, said)| (at_s - self.zero_s, of(said)));
        Curve { name: name.to_owned(), stroke, points: points.collect() }
    }

    fn so(&self, name: &str, stroke: Stroke, of: impl Fn(&So) -> f64) -> Option<Curve> {
        let points = self.lives?.so.points().iter().filter(|(at_s, _)| *at_s >= self.begins_s());
        let points = points.map(|(at_s, so)| (at_s - self.zero_s, Some(of(so))));
        Some(Curve { name: name.to_owned(), stroke, points: points.collect() })
    }

    /// The harm that the scenario ends with; without one what was spilled, if anything was.
    fn harm(&self) -> Option<Panel> {
        let lives = self.lives?;
        let (harm, ends) = (lives.harm(), lives.ends());
        if ends.is_none() && lives.so.points().iter().all(|(_, so)| so.harm < 1.0) {
            return None;
        }
        let (unit, times) = match harm.quantity() {
            Quantity::Length => ("m", 1.0),
            Quantity::GaugePressure => ("kPa gauge", 1e-3),
            _ => ("kg", 1.0),
        };
        let limit = ends.map(|end| (end.over * times, format!("bad end: {end}")));
        let shown = self.begins_s()..=self.ends_s();
        let would = lives.would.points().iter().filter(|(at_s, _)| shown.contains(at_s));
        let would = would.map(|(at_s, harm)| (at_s - self.zero_s, Some(*harm * times)));
        let would = Curve { name: "had nobody acted".to_owned(), stroke: Stroke::Would, points: would.collect() };
        Some(Panel {
            title: format!("{harm}, {unit}"),
            height: 80.0,
            least: (0.0, if unit == "m" { 1.0 } else { 10.0 }),
            limits: limit.into_iter().collect(),
            above: "from above",
            curves: self.so("as it is", Stroke::So, |so| so.harm * times).into_iter().chain([would]).collect(),
        })
    }
}

fn marks(answers: &Answers) -> Vec<Mark> {
    let mark = |kind, words: &str, moment: &Option<Moment>, detail: bool| {
        let moment = moment.as_ref()?;
        Some(Mark {
            kind,
            at_s: moment.at_s,
            words: format!("{} {words}", clock(moment.at_s)),
            detail: if detail { format!(": {}", moment.what) } else { String::new() },
        })
    };
    let began = answers.began_s.map(|at_s| Moment { at_s, who: "plant", what: String::new() });
    let end = if answers.ended_badly { "ended badly" } else { "would end badly" };
    let all = [
        mark(MarkKind::Began, "fault begun", &began, false),
        mark(MarkKind::Known, "could be known", &answers.known, true),
        mark(MarkKind::Spoke, "monitor spoke", &answers.spoke, true),
        mark(MarkKind::Seen, "trainee saw", &answers.seen, false),
        mark(MarkKind::Acted, "trainee acted", &answers.acted, true),
        mark(MarkKind::End, end, &answers.bad_end, true),
    ];
    all.into_iter().flatten().collect()
}
