//! Papers of a load: what fits every range, and hardly one trailer.

use crate::config::BaySetup;
use crate::config::fault::Draft;
use crate::config::walk::Table;
use crate::engine::settings::DeliverySetup;
use crate::engine::witness::density;
use crate::finding::OfLoad;

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
        let part = OfLoad::PartOfTicket { planned_kg: setup.planned.0, net_kg: setup.ticket_net.0 };
        draft.hint(table.spot("planned"), table.path("planned"), part);
    }
    if let (Some(density), false) = (density::density(&setup.product, setup.product.load_temperature), leg) {
        let fill = setup.ticket_net.0 / density.0 / setup.trailer_volume.0;
        if fill < FILL_LEAST {
            let product = setup.product.name.clone();
            let hardly = OfLoad::TrailerHardlyFilled { fill, fill_least: FILL_LEAST, product };
            draft.hint(trailer.spot("volume"), trailer.path("volume"), hardly);
        }
    }
    if let (Some(most), Some(mawp)) = (bay.settings.limits.pad_maximum, setup.plate.mawp)
        && mawp.0 < most.0
    {
        let below = OfLoad::MawpBelowSite { mawp_pa: mawp.0, most_pa: most.0 };
        draft.hint(plate.spot("mawp"), plate.path("mawp"), below);
    }
}
