//! The legs, their sum against the ticket, and what is left on the trailer.

use super::{NONE, Paper, WITNESSES, kg, signed};
use crate::engine::frame::WitnessId;
use crate::picture::Stroke;
use crate::report::account::{AgainstTicket, Compared, Figure, WhyNot};
use crate::words::Language;
use crate::words::display::number;
use crate::words::en::English;
use maud::{Markup, html};

/// A witness by its code in the JSON.
fn witness_name(code: &serde_json::Value) -> &'static str {
    let of = |(id, _): &&(WitnessId, Stroke)| crate::recording::json::form_json(id) == *code;
    WITNESSES.iter().find(of).map_or("", |(id, _)| English.witness(*id))
}

impl Paper<'_> {
    /// What each leg brought, and all of them, where there are several.
    pub(super) fn legs(&self) -> Markup {
        let a = self.account;
        let cells = |figure: Option<Figure>| {
            let [value, u] =
                figure.map_or_else(|| [NONE, NONE].map(str::to_owned), |f| [kg(f.value), kg(f.expanded())]);
            html! { td class="n" { (value) } td class="n" { (u) } }
        };
        html! { @if a.legs.len() > 1 || a.leg > 1 {
            h2 { "Legs of the delivery" }
            table {
                caption {
                    "Up to leg " (a.leg) ", which this record is of; each has a record of its own. What the legs' errors share \
                     (meter, table of the same tank, density) adds up as it stands, the rest as the root of the sum of squares"
                }
                thead { tr {
                    th class="n" { "leg" } th { "bay, tank" } th { "closed" } th class="n" { "planned, kg" }
                    th class="n" { "received, kg" } th class="n" { "U, kg" }
                } }
                tbody {
                    @for leg in &a.legs { tr {
                        td class="n" { (leg.leg) } td { (leg.bay) ", " (leg.tank) }
                        td { @if leg.is_rejected { "rejected" } @else { (self.when(leg.closed.as_ref())) } }
                        td class="n" { (kg(leg.planned_kg)) } (cells(leg.received_kg))
                    } }
                    tr class="all" { td {} th scope="row" { "all legs" } td {} td {} (cells(a.received_in_all_kg)) }
                }
            }
        } }
    }

    pub(super) fn against_ticket(&self) -> Markup {
        let a = self.account;
        let why = |why: &WhyNot| match why {
            WhyNot::NotClosed => "it is not closed",
            WhyNot::LegMissing => "an earlier leg is not closed, or its recording is not beside this one",
            WhyNot::NothingReceived => "no instrument could be used",
            WhyNot::PartOfTheLoad => "only a part of the ticket's load was meant to be unloaded so far",
            WhyNot::NoDensity => "the density in the line is not known",
        };
        let corrected = a.ticket.corrected_kg;
        html! {
            h2 { "Against the weigh ticket" }
            p {
                "Net as printed " (kg(a.ticket.net_kg)) "\u{a0}kg; as a mass, with buoyancy and the gas that the load displaced, "
                strong { (kg(corrected.value)) "\u{a0}kg, U " (kg(corrected.expanded())) "\u{a0}kg" } "."
            }
            @match &a.against_ticket {
                AgainstTicket::Compared(compared) => (self.compared(compared)),
                AgainstTicket::NotCompared(reason) => p { "Received and ticket are not compared: " (why(reason)) "." }
            }
            (self.left_on_board())
        }
    }

    /// What goes back with the trailer, or into the next leg.
    fn left_on_board(&self) -> Markup {
        let Some(left) = &self.account.left_on_board else { return html! {} };
        let line = |class: &str, name: &str, left: Figure| {
            html! { tr class=(class) {
                th scope="row" { (name) } td class="n" { (kg(left.value)) } td class="n" { (kg(left.expanded())) }
            } }
        };
        let all = left.together_kg;
        html! {
            table {
                caption {
                    "Left on the trailer (heel), if nothing was lost: ticket less what was received and is in the line. These \
                     figures cannot tell what is left from what was lost; below zero is nothing left, within U"
                }
                thead { tr { th {} th class="n" { "left, kg" } th class="n" { "U, kg" } } }
                tbody {
                    @for w in &left.by_witness { (line("", witness_name(&w.witness), w.kg)) }
                    (line("all", "together", all))
                }
            }
            @if all.value > all.expanded() {
                p class="small" {
                    "If it goes into another tank, the papers of that leg say " code {
                        "[leg] number = " (self.account.leg + 1) ", on_board = \"" (format!("{:.0}", all.value))
                        " kg\", on_board_u = \"" (format!("{:.0}", all.u)) " kg\""
                    } "."
                }
            }
        }
    }

    fn compared(&self, compared: &Compared) -> Markup {
        let line = |class: &str, name: &str, difference: Figure, en: f64| {
            html! { tr class=(class) {
                th scope="row" { (name) } td class="n" { (signed(difference.value)) }
                td class="n" { (kg(difference.expanded())) } td class="n" { (number(en, 2)) }
            } }
        };
        let holds = compared.in_line_kg;
        html! {
            table {
                caption {
                    "Received" @if self.account.legs.len() > 1 { " in all legs" } ", with the " (kg(holds.value)) "\u{a0}kg (U " (kg(holds.expanded())) ") that fill the line, less \
                     the ticket. Negative: less arrived. En: difference over its expanded uncertainty (ISO 13528)"
                }
                thead { tr { th {} th class="n" { "difference, kg" } th class="n" { "U, kg" } th class="n" { "En" } } }
                tbody {
                    @for w in &compared.by_witness { (line("", witness_name(&w.witness), w.difference_kg, w.en)) }
                    (line("all", "together", compared.difference_kg, compared.en))
                }
            }
            @let rule = number(compared.query_above_en, 2);
            @if compared.query {
                p class="query" { "Raise a query: |En| is above " (rule) ", the site's rule." }
            } @else {
                p { "No query by the site's rule: |En| is not above " (rule) ". That is no proof that nothing is missing." }
            }
        }
    }
}
