//! The legs, their sum against the ticket, and what is left on the trailer.

use super::{NONE, Paper, WITNESSES};
use crate::engine::frame::WitnessId;
use crate::picture::Stroke;
use crate::report::account::{AgainstTicket, Compared, Figure, WhyNot};
use crate::words::display::number;
use maud::{Markup, html};

impl Paper<'_> {
    /// A witness by its code in the JSON.
    fn witness_name(&self, code: &serde_json::Value) -> &'static str {
        let of = |(id, _): &&(WitnessId, Stroke)| crate::recording::json::form_json(id) == *code;
        WITNESSES.iter().find(of).map_or("", |(id, _)| self.language.witness(*id))
    }

    /// What each leg brought, and all of them, where there are several.
    pub(super) fn legs(&self) -> Markup {
        let a = self.account;
        let cells = |figure: Option<Figure>| {
            let [value, u] = figure
                .map_or_else(|| [NONE, NONE].map(str::to_owned), |f| [self.mass(f.value), self.mass(f.expanded())]);
            html! { td class="n" { (value) } td class="n" { (u) } }
        };
        html! { @if a.legs.len() > 1 || a.leg > 1 {
            h2 { (self.t("Legs of the delivery")) }
            table {
                caption {
                    (self.f("Up to leg {}, which this record is of; each has a record of its own. What the legs' errors share \
                     (meter, table of the same tank, density) adds up as it stands, the rest as the root of the sum of squares",
                     &[&a.leg.to_string()]))
                }
                thead { tr {
                    th class="n" { (self.t("leg")) } th { (self.t("bay, tank")) } th { (self.t("closed")) }
                    th class="n" { (self.t("planned")) ", " (self.unit()) } th class="n" { (self.t("received")) ", " (self.unit()) }
                    th class="n" { "U, " (self.unit()) }
                } }
                tbody {
                    @for leg in &a.legs { tr {
                        td class="n" { (leg.leg) } td { (leg.bay) ", " (leg.tank) }
                        td { @if leg.is_rejected { (self.t("rejected")) } @else { (self.when(leg.closed.as_ref())) } }
                        td class="n" { (self.mass(leg.planned_kg)) } (cells(leg.received_kg))
                    } }
                    tr class="all" { td {} th scope="row" { (self.t("all legs")) } td {} td {} (cells(a.received_in_all_kg)) }
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
            h2 { (self.t("Against the weigh ticket")) }
            p {
                (self.f("Net as printed {}; as a mass, with buoyancy and the gas that the load displaced, ", &[&self.measures.mass(a.ticket.net_kg)]))
                strong { (self.measures.mass(corrected.value)) ", U " (self.measures.mass(corrected.expanded())) } "."
            }
            @match &a.against_ticket {
                AgainstTicket::Compared(compared) => (self.compared(compared)),
                AgainstTicket::NotCompared(reason) => p { (self.f("Received and ticket are not compared: {}.", &[self.t(why(reason))])) }
            }
            (self.left_on_board())
        }
    }

    /// What goes back with the trailer, or into the next leg.
    fn left_on_board(&self) -> Markup {
        let Some(left) = &self.account.left_on_board else { return html! {} };
        let line = |class: &str, name: &str, left: Figure| {
            html! { tr class=(class) {
                th scope="row" { (name) } td class="n" { (self.mass(left.value)) } td class="n" { (self.mass(left.expanded())) }
            } }
        };
        let all = left.together_kg;
        html! {
            table {
                caption {
                    (self.t("Left on the trailer (heel), if nothing was lost: ticket less what was received and is in the line. These \
                     figures cannot tell what is left from what was lost; below zero is nothing left, within U"))
                }
                thead { tr { th {} th class="n" { (self.t("left")) ", " (self.unit()) } th class="n" { "U, " (self.unit()) } } }
                tbody {
                    @for w in &left.by_witness { (line("", self.witness_name(&w.witness), w.kg)) }
                    (line("all", self.t("together"), all))
                }
            }
            @if all.value > all.expanded() {
                p class="small" {
                    (self.t("If it goes into another tank, the papers of that leg say ")) code {
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
                th scope="row" { (name) } td class="n" { (self.signed(difference.value)) }
                td class="n" { (self.mass(difference.expanded())) } td class="n" { (number(en, 2)) }
            } }
        };
        let holds = compared.in_line_kg;
        html! {
            table {
                caption {
                    (self.t(if self.account.legs.len() > 1 { "Received in all legs" } else { "Received" }))
                    (self.f(", with the {} (U {}) that fill the line, less the ticket. Negative: less arrived. En: difference over \
                     its expanded uncertainty (ISO 13528)", &[&self.measures.mass(holds.value), &self.mass(holds.expanded())]))
                }
                thead { tr { th {} th class="n" { (self.t("difference")) ", " (self.unit()) } th class="n" { "U, " (self.unit()) } th class="n" { "En" } } }
                tbody {
                    @for w in &compared.by_witness { (line("", self.witness_name(&w.witness), w.difference_kg, w.en)) }
                    (line("all", self.t("together"), compared.difference_kg, compared.en))
                }
            }
            @let rule = number(compared.query_above_en, 2);
            @if compared.query {
                p class="query" { (self.f("Raise a query: |En| is above {}, the site's rule.", &[&rule])) }
            } @else {
                p { (self.f("No query by the site's rule: |En| is not above {}. That is no proof that nothing is missing.", &[&rule])) }
            }
        }
    }
}
