//! The steps of a delivery on the page: the next one first, the others folded, and what is sent to sign one. Pure.

use super::entries::NOTE_CHARS;
use super::reader::Reader;
use crate::engine::checks::CheckState;
use crate::engine::frame::{Frame, Phase};
use crate::engine::steps::{Side, SignedBy, Stands, Step, StepState};
use crate::words::{Language, Scene};
use maud::{Markup, html};
use serde::Serialize;

/// Longest text of a step in the list that one is chosen from, characters: a line of a phone.
const CHOICE_CHARS: usize = 48;

/// What the page's script gets of the steps.
#[derive(Debug, Serialize)]
pub struct Walk {
    /// The bay has steps and a delivery is open.
    pub asked: bool,
    /// The next step stands before masses and margin, and may stay open: while liquid moves it does not.
    pub leads: bool,
    /// A check of the delivery fails: its fold opens.
    pub check_fails: bool,
    /// The hose can be blown clear: whether that is going on; None: it cannot.
    pub blowing: Option<bool>,
    /// The steps whose turn has come, the next one first.
    pub turn: Vec<Turn>,
}

/// A step whose turn has come.
#[derive(Debug, Serialize)]
pub struct Turn {
    /// Its name in entries.
    pub step: String,
    /// As it is chosen.
    pub label: String,
    /// The site's signature is missing.
    pub site: bool,
    /// The driver's signature is missing.
    pub driver: bool,
}

fn number(state: &StepState) -> usize {
    usize::from(state.step) + 1
}

/// The steps whose turn has come, each as the site has it.
fn open(scene: Scene<'_>) -> impl Iterator<Item = (&StepState, &Step)> {
    let states = scene.frame.steps.iter().filter(|s| s.stands == Stands::Open);
    states.filter_map(move |state| Some((state, scene.settings.steps.get(usize::from(state.step))?)))
}

/// What the page's script gets.
#[must_use]
pub fn walk(scene: Scene<'_>, language: &dyn Language) -> Walk {
    let Frame { phase, checks, delivery, blow, .. } = scene.frame;
    let turn = open(scene).map(|(state, step)| {
        let missing = |side| step.signed_by.asks(side) && state.signatures.iter().all(|s| s.side != side);
        let whole = language.step(&step.text);
        let text: String = whole.chars().take(CHOICE_CHARS).collect();
        let cut = if text.len() < whole.len() { "\u{2026}" } else { "" };
        let label = format!("{}. {text}{cut}", number(state));
        Turn { step: step.id.clone(), label, site: missing(Side::Site), driver: missing(Side::Driver) }
    });
    Walk {
        asked: delivery.as_ref().is_some_and(|d| d.rejected.is_none()) && !scene.settings.steps.is_empty(),
        leads: *phase != Phase::Transfer,
        check_fails: checks.iter().any(|c| c.state == CheckState::Fails),
        blowing: blow
            .as_ref()
            .filter(|_| *phase == Phase::Transfer)
            .map(|b| b.blows.last().is_some_and(|b| b.ended.is_none())),
        turn: turn.collect(),
    }
}

/// The next step, as large as the head of the fold lets it be.
#[must_use]
pub fn next(scene: Scene<'_>, language: &dyn Language) -> Markup {
    let labels = language.step_labels();
    let all = scene.settings.steps.len();
    html! {
        @match open(scene).next() {
            Some((state, step)) => {
                span.quiet { (labels.next) " " (number(state)) " " (labels.of) " " (all) }
                @if step.hold { " " span.hold { (labels.hold_point) } }
                span.sentence { (language.step(&step.text)) }
            }
            None => { span.sentence { (labels.none_left) } }
        }
    }
}

/// What goes with the next step: how to keep from harm, what forbids it, who must sign and who has.
#[must_use]
pub fn about(scene: Scene<'_>, language: &dyn Language) -> Markup {
    let labels = language.step_labels();
    html! {
        @if let Some((state, step)) = open(scene).next() {
            @if !step.care.is_empty() { p.care { (language.step(&step.care)) } }
            (against(state, scene, language))
            p {
                @match step.signed_by { SignedBy::Both => { (labels.both) ". " }, SignedBy::Driver => { (labels.by_driver) ". " }, SignedBy::Site => {} }
                @if step.proof { (labels.proof) "." }
            }
            (signatures(state, scene, language))
        }
    }
}

fn against(state: &StepState, scene: Scene<'_>, language: &dyn Language) -> Markup {
    let labels = language.step_labels();
    html! {
        @for against in &state.against {
            p.bar.act[against.forbids] {
                @if against.forbids { span aria-hidden="true" { "\u{2715} " } (labels.forbidden) ": " }
                (language.against(scene, against)) "."
            }
        }
    }
}

fn signatures(state: &StepState, scene: Scene<'_>, language: &dyn Language) -> Markup {
    html! { @for signature in &state.signatures { p.beyond { (language.signature(scene, signature)) } } }
}

/// Gas behind the last liquid.
#[must_use]
pub fn blow(scene: Scene<'_>, language: &dyn Language) -> Markup {
    html! { @if let Some(blow) = &scene.frame.blow { @for line in language.blow(scene, blow) { p { (line) } } } }
}

/// Every step with a shape and a word for how it stands, who signed and when.
#[must_use]
pub fn all(scene: Scene<'_>, language: &dyn Language) -> Markup {
    let shape = |stands| match stands {
        Some(Stands::Signed) => "\u{25cf}",
        Some(Stands::Skipped) => "\u{2013}",
        Some(Stands::Open) => "\u{25cb}",
        None => "",
    };
    let state = |index: usize| scene.frame.steps.iter().find(|s| usize::from(s.step) == index);
    html! {
        ol.checks {
            @for (index, step) in scene.settings.steps.iter().enumerate() {
                @let stands = state(index).map(|s| s.stands);
                li {
                    span.shape aria-hidden="true" { (shape(stands)) } " "
                    span.word { (language.stands(stands)) } " "
                    div {
                        p { (index + 1) ". " (language.step(&step.text)) @if step.hold { " " span.hold { (language.step_labels().hold_point) } } }
                        @if let Some(state) = state(index) { (against(state, scene, language)) (signatures(state, scene, language)) }
                    }
                }
            }
        }
    }
}

/// The fold of the steps, with what is known when the page is asked for.
#[must_use]
pub fn fold([next, about, blow, all]: [Markup; 4], reader: &Reader) -> Markup {
    let labels = reader.language.step_labels();
    html! {
        details #walk hidden {
            summary { div #step-next { (next) } }
            div #step-about { (about) }
            form #step-form {
                label { (labels.which) " " select #step-id required {} }
                label { (labels.note) " " input #step-note type="text" maxlength=(NOTE_CHARS); }
                label #step-name hidden { (labels.driver) " " input #step-driver type="text" maxlength=(NOTE_CHARS); }
                button #step-by-site type="submit" value="site" { (labels.sign_site) }
                button #step-by-driver type="submit" value="driver" { (labels.sign_driver) }
                button type="submit" value="skip" { (labels.skip) }
            }
            div #blow { (blow) }
            form #blow-form hidden {
                button type="submit" #blow-begin { (labels.blow_begins) }
                button type="submit" #blow-end { (labels.blow_ends) }
            }
            p { (labels.before_all) " " (reader.language.review()) }
            details { summary { (labels.all) } div #step-all { (all) } }
        }
    }
}
