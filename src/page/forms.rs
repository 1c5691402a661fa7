//! What a person presses and fills in on the page of a bay: acts, entries, checks, hand-over. Pure.

use super::entries::NOTE_CHARS;
use super::reader::Reader;
use crate::engine::checks::CheckId;
use crate::engine::input::ZeroCause;
use crate::units::Measures;
use maud::{Markup, html};

/// Causes of a new zero, as entries name them.
const CAUSES: [(&str, ZeroCause); 5] = [
    ("people_or_tools", ZeroCause::PeopleOrTools),
    ("hose_or_line", ZeroCause::HoseOrLine),
    ("rain_or_ice", ZeroCause::RainOrIce),
    ("tractor", ZeroCause::Tractor),
    ("scale_itself", ZeroCause::ScaleItself),
];

/// The hand-over, and what sets alarms aside.
pub(super) fn duty_forms(reader: &Reader, state: &Markup) -> Markup {
    let labels = reader.language.labels();
    let most = NOTE_CHARS;
    html! {
        form #hand-over {
            label { (labels.comes) " " input #comes type="text" maxlength=(most) autocomplete="off" required; }
            label { input #read-back type="checkbox" required; " " (labels.read_back) " " span #state-read { (state) } }
            button type="submit" { (labels.hand_over) }
        }
        form #set-aside {
            label { (labels.alarm) " " select #aside-alarm required { option value="" { } } }
            label { (labels.minutes) " " input #aside-minutes type="number" min="1" max="480" step="1"; }
            button type="submit" value="shelved" { (labels.shelve) }
            label { (labels.reject_why) " " input #aside-why type="text" maxlength=(most); }
            button type="submit" value="taken_out" { (labels.take_out) }
        }
        p { button #enrol type="button" { (labels.enrol) } }
    }
}

/// Entries of the checks that only a person can make, and the rejection.
pub(super) fn check_forms(reader: &Reader) -> Markup {
    let labels = reader.language.labels();
    let most = NOTE_CHARS;
    html! {
        form #check-made {
            label {
                (labels.check) " "
                select #check-id required {
                    option value="" { }
                    @for id in CheckId::BY_PERSON { option value=(id.name()) { (reader.language.check_name(id)) } }
                }
            }
            label { (labels.note) " " input #check-note type="text" maxlength=(most); }
            button type="submit" value="met" { (labels.check_met) }
            button type="submit" value="fails" { (labels.check_fails) }
        }
        form #reject hidden {
            label { (labels.reject_why) " " input #reject-why type="text" maxlength=(most) required; }
            button type="submit" { (labels.reject) }
        }
    }
}

/// An alarm as the script fills it in.
pub(super) fn alarm_template(reader: &Reader) -> Markup {
    html! {
        li {
            div {
                p.act {}
                p.care {}
                p { span.says {} " " span.beyond {} " " span.since {} }
            }
            button type="button" { (reader.language.labels().seen) }
        }
    }
}

/// Entries that are asked for only now and then; each is hidden while it does not fit.
pub(super) fn entry_forms(reader: &Reader) -> Markup {
    let labels = reader.language.labels();
    html! {
        div.entries {
            form #dip hidden {
                @if reader.measures == Measures::UsCustomary {
                    label { (labels.hand_dip) " " input #dipped-ft type="number" step="1" min="0" max="130" required; " ft" }
                    label { input #dipped-in type="number" step="0.125" min="0" max="11.875" required; " in" }
                } @else {
                    label { (labels.hand_dip) " " input #dipped type="number" step="0.001" min="0" max="40" required; " m" }
                }
                button type="submit" { (labels.enter_dip) }
            }
            form #zero hidden {
                label {
                    (labels.new_zero) " "
                    select #cause required {
                        option value="" { }
                        @for (name, cause) in CAUSES { option value=(name) { (reader.language.zero_cause(cause)) } }
                    }
                }
                button type="submit" { (labels.enter_zero) }
            }
        }
    }
}

/// The stretch of the past that somebody asks for, and the buttons that lead through it.
pub(super) fn look_back(reader: &Reader) -> Markup {
    let words = reader.language.page();
    let ways = [("earlier", words.earlier), ("later", words.later), ("closer", words.closer), ("wider", words.wider)];
    html! {
        details #look-back {
            summary { (words.look_back) }
            div.acts {
                button type="button" data-way="whole" { (words.whole) }
                @for (way, word) in ways { button type="button" data-way=(way) disabled { (word) } }
            }
            div #past role="status" {}
        }
    }
}

/// The acts that are always in sight, the answer to the last one, and the cautions.
pub(super) fn footer(reader: &Reader) -> Markup {
    let labels = reader.language.labels();
    html! {
        footer {
            div #acts {
                button #start type="button" disabled data-ask=(labels.confirm_started) { (labels.transfer_started) }
                button #attend type="button" hidden { (labels.attend) }
                button #close type="button" disabled data-ask=(labels.confirm_closed) { (labels.closed) }
                button #card-open type="button" aria-expanded="false" aria-controls="card" { (reader.language.page().card) }
                button #sound type="button" data-heard="no" data-on=(labels.sound_test) data-off=(labels.sound_off) { (labels.sound_off) }
            }
            div #confirm hidden {
                p #question {}
                button #yes type="button" { (labels.yes) }
                button #back type="button" { (labels.back) }
            }
            p #answer role="status" data-sending=(labels.sending) data-unreached=(labels.not_reached) {}
            div.advice { p.you { (labels.you_do) } p.cautions { (labels.cautions) " " (reader.language.review()) } }
        }
    }
}
