//! The results as JSON. `docs/interface.md` lists every key.

use super::{JOINED, Results};
use crate::tune::tally::middle;
use serde_json::{Value, json};

pub(super) fn json(results: &Results<'_>) -> Value {
    let choices = results.plan.choices.iter().zip(&results.totals).zip(&results.turns);
    let choices = choices.map(|((choice, total), [appear, vanish, moved])| {
        let alarms = total.alarms.iter().map(|((alarm, subject), tally)| {
            json!({
                "alarm": alarm, "subject": subject, "came": tally.came,
                "came_per_hour": total.per_hour(tally.came), "open_s": tally.open_s, "chattered": tally.chattered,
                "fleeting": tally.fleeting, "stale": tally.stale, "called_for": tally.called_for,
                "nuisance": tally.nuisance, "missed": tally.missed, "delays_s": tally.delays_s,
                "delay_middle_s": middle(&tally.delays_s), "leads_s": tally.leads_s,
                "lead_middle_s": middle(&tally.leads_s), "unannounced": tally.unannounced,
            })
        });
        json!({
            "choice": choice.name, "key": choice.swept.as_ref().map(|s| &s.0),
            "value": choice.swept.as_ref().map(|s| &s.1), "recordings": total.recordings,
            "watched_s": total.watched_s, "transfer_s": total.transfer_s, "labelled_s": total.labelled_s,
            "refused": total.refused, "came": total.came(), "prompts": total.prompts(), "came_per_hour": total.per_hour(total.came()),
            "most_in_ten_min": total.most_in_ten_min, "floods": total.floods, "alarms": alarms.collect::<Vec<_>>(),
            "appear": appear, "vanish": vanish, "move": moved,
        })
    });
    let proposals = results.proposals.iter().map(|(bay, p)| {
        json!({
            "bay": bay, "signal": p.signal, "signal_kind": p.kind, "values": p.values, "noise_si": p.noise_si,
            "dead_band_si": p.dead_band_si, "delay_s": p.delay_s,
        })
    });
    let pairs = |list: &[(String, String)]| {
        list.iter().map(|(name, why)| json!({ "recording": name, "why": why })).collect::<Vec<_>>()
    };
    let changes = results.changes.iter().map(|(recording, choice, change)| {
        json!({ "recording": recording, "choice": results.plan.choices[*choice].name, "change": change })
    });
    json!({
        "program_version": env!("CARGO_PKG_VERSION"), "recordings": results.taken, "drills": results.drills,
        "known": results.known,
        "left_out": pairs(&results.left_out), "stopped": pairs(&results.stopped),
        "occurrences_not_kept": results.beyond, "choices": choices.collect::<Vec<_>>(),
        "proposals": proposals.collect::<Vec<_>>(), "dead_bands": results.dead_bands,
        "off_delay_longer_by_s": results.longer_off_delay_s(), "off_delay_joins": JOINED,
        "changes": changes.collect::<Vec<_>>(),
    })
}
