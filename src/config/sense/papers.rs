//! Papers of a load: what fits every range, and hardly one trailer.

use crate::config::BaySetup;
use crate::config::amount::short;
use crate::config::fault::Draft;
use crate::config::walk::Table;
use crate::engine::settings::DeliverySetup;
use crate::engine::witness::density;

/// A leg of less than this part of the ticket's net is more often a slip of the unit, 1 (a pound is 0.45 kg).
const PART_LEAST: f64 = 0.5;

/// A trailer filled to less than this is more often a slip of the unit, 1 (assumption).
const FILL_LEAST: f64 = 0.4;

/// Looks at the papers of one load into this bay.
pub(in crate::config) fn papers(draft: &mut Draft, table: &Table, setup: &DeliverySetup, bay: &BaySetup) {
    let (trailer, plate) = (table.table("trailer"), table.table("plate"));
    // A leg says by itself that it is a part.
    let leg = table.is_written("leg");
    if !leg && setup.planned.0 < PART_LEAST * setup.ticket_net.0 {
        let (planned, net) = (short(setup.planned.0), short(setup.ticket_net.0));
        draft
            .warn(
                table.spot("planned"),
                table.path("planned"),
                format!("{planned} kg are less than half of the ticket's net, {net} kg"),
            )
            .act("correct the number or its unit; where the rest goes elsewhere, write [leg] number = 1");
    }
    if let (Some(density), false) = (density::density(&setup.product, setup.product.load_temperature), leg) {
        let fill = setup.ticket_net.0 / density.0 / setup.trailer_volume.0;
        if fill < FILL_LEAST {
            draft
                .warn(
                    trailer.spot("volume"),
                    trailer.path("volume"),
                    format!("the load fills {:.0} % of the trailer", 100.0 * fill),
                )
                .allowed(format!("usually {:.0} % and more: {} is dense", 100.0 * FILL_LEAST, setup.product.name))
                .act("correct trailer.volume or ticket.net, or their units");
        }
    }
    if let (Some(most), Some(mawp)) = (bay.settings.limits.pad_maximum, setup.plate.mawp)
        && mawp.0 < most.0
    {
        let (mawp, most) = (short(mawp.0 / 1e3), short(most.0 / 1e3));
        draft
            .warn(
                plate.spot("mawp"),
                plate.path("mawp"),
                format!("{mawp} kPa gauge is below the site's pad_maximum, {most} kPa gauge: it is the ceiling"),
            )
            .act("read the plate again with its unit; if it is so, set the regulator for this trailer first");
    }
}
