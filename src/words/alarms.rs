//! The alarm catalogue for people: what each means, what is likely behind it, what to do first and where its setting
//! comes from. `docs/alarms.md` is made of it.

use super::Language;
use crate::engine::alarm::catalogue::{CATALOGUE, Consequence, TimeToRespond};
use crate::engine::frame::Priority;
use crate::engine::input::AlarmId;
use std::fmt::Write as _;

/// What the catalogue says of an alarm in general; what it says on the page names tank, signal and figures.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Explained {
    /// What it means.
    pub means: &'static str,
    /// What is likely behind it.
    pub causes: &'static str,
    /// What to do first.
    pub act: String,
    /// Where its setting comes from.
    pub basis: &'static str,
}

/// The alarm in English.
pub(super) fn english(id: AlarmId) -> Explained {
    let [means, causes, basis] = english_parts(id);
    Explained { means, causes, act: english_act(id), basis }
}

fn english_act(id: AlarmId) -> String {
    let act = match id {
        AlarmId::HighLevelProjected => "Stop before the load is in, or make room with the person in charge.",
        AlarmId::SignalLost => "Watch what it measured at the instrument itself; have it mended.",
        AlarmId::OneWitnessLeft => "Have the person in charge decide whether the transfer goes on.",
        AlarmId::RecorderTrouble => "Keep notes by hand.",
        AlarmId::EstimatesRestarted => "Hold the masses against the instruments themselves.",
        AlarmId::ReadingUnlikely => "Do not start before it is explained.",
        AlarmId::ShutoffBypassed => "Stop unless the person in charge has agreed in writing.",
        AlarmId::ShutoffUnknown => {
            "Look at the shut-off itself. Stop unless it is in service, or the person in charge has agreed in writing."
        }
        AlarmId::DrawOffChanged => "Hold the room against the tank's own gauge. Ask who draws off.",
        AlarmId::BeAtValve => "Be at the valve. Be ready to cut back the gas and to close.",
        AlarmId::LevelWorking => "Be ready to stop. Hold the room against the tank's own gauge.",
        AlarmId::NotIndependent => "Read flow meter, scale and level at the instruments themselves.",
        AlarmId::FlowStopped => "Find out why nothing moves, without opening anything.",
        AlarmId::FlowAbovePressure | AlarmId::FlowBelowPressure => {
            "Look along hose, valves and connections from a distance. If anything drips or sprays, stop and keep away."
        }
        AlarmId::LoadTemperatureOff | AlarmId::DewPointHigh => {
            "Have the person in charge decide whether the transfer goes on."
        }
        AlarmId::NearFreezing => "Leave no liquid standing in a cold line. Have the person in charge decide.",
        AlarmId::PadNotKnown => "Read the trailer's own gauge now, and again at every round.",
        AlarmId::PadCreeps => "Look at the regulator. Unless somebody has set it higher, shut the gas.",
        AlarmId::FirstGasDue => "Be at the valve. Cut back the gas and be ready to close.",
        AlarmId::AttendanceDue | AlarmId::AttendanceOverdue => "Press \"I am here\" at the bay's own screen.",
        AlarmId::NobodyAttends => {
            "Go and look from a distance. If nobody is there, stop by the emergency stop or the remote valve."
        }
        _ => return format!("{} {}", super::en::ACT, super::en::CARE),
    };
    act.to_owned()
}

#[rustfmt::skip] // One sentence a line reads best as a table.
#[expect(clippy::too_many_lines, reason = "a table")]
fn english_parts(id: AlarmId) -> [&'static str; 3] {
    match id {
        AlarmId::LevelSwitchTripped => [
            "The independent high-level switch of the tank has tripped. It overrules every other instrument.",
            "More liquid in the tank than the instruments say; a neighbouring bay filling it; a switch read the wrong way round.",
            "The switch's own point, set by the works. Not tunable.",
        ],
        AlarmId::LevelHighHigh => [
            "A credible gauge of the tank stands at or above high-high, or is saturated there.",
            "The load did not fit; the tank was fuller than believed; another bay fills it; a gauge with a wrong unit, zero or scale.",
            "`high_high` of the tank in the site file, from the works' own overfill assessment (API Standard 2350).",
        ],
        AlarmId::HighLevelProjected => [
            "What may still come does not fit below high-high: the margin is below nothing.",
            "Contents, load or draw-off other than on the papers; a neighbouring bay; one gauge that stands above the others.",
            "The margin by its most pessimistic credible witness, with 2.33 standard uncertainties (one in a hundred).",
        ],
        AlarmId::PadNearCeiling => [
            "The pad pressure is near or above the lowest of the site's maximum, MAWP and the ratings of hose, line and connections.",
            "Gas supply opened too far; a regulator that creeps; the outlet or the line is shut or plugged.",
            "`near_ceiling` of the lowest limit in the site file and on the plate.",
        ],
        AlarmId::WitnessesDisagree => [
            "The instruments do not agree on how much has moved. Liquid may be missing.",
            "A leak; a wrong tank or a second way for the liquid; one instrument that drifts, sticks or was set wrong.",
            "Thresholds computed from the stated false-alarm budget; the verdict names whom it concerns.",
        ],
        AlarmId::MovementOutsideTransfer => [
            "The flow meter shows movement though no transfer is on.",
            "A valve left open or passing; a transfer begun without its entry; the meter's zero.",
            "0.1 kg/s: a meter without a low-flow cut-off creeps at rest.",
        ],
        AlarmId::SignalLost => [
            "A signal cannot be used: no answer, a fault it reports itself, out of its band, or frozen.",
            "Cable, power, device, network; a reading at the end of its range; a device that repeats its last value.",
            "One poll period and time-out of its device; the current limits of NAMUR NE 43; for frozen its own stated limit.",
        ],
        AlarmId::OneWitnessLeft => [
            "One instrument alone says how much has moved. Nothing is compared.",
            "Two of flow meter, scale and tank level are lost.",
            "Follows from the signals; nothing to set.",
        ],
        AlarmId::NoWitness => [
            "No instrument says how much has moved.",
            "Network or power of all devices; flow meter, scale and level lost one after the other.",
            "Follows from the signals; nothing to set.",
        ],
        AlarmId::RecorderTrouble => [
            "What happens is not on disk: it waits in memory, or the memory was full.",
            "Disk full, slow, read-only or away.",
            "Follows from the recorder; nothing to set.",
        ],
        AlarmId::EstimatesRestarted => [
            "brimwatch met a fault of its own and began its estimates anew.",
            "A fault in brimwatch. Keep the recording and report it.",
            "Follows from the program; nothing to set.",
        ],
        AlarmId::ReadingUnlikely => [
            "Before the transfer a signal says what cannot be.",
            "Unit, scale, offset, byte order or address in the site file; a pressure gauge that means absolute.",
            "The tank's height, the trailer's weights and the atmosphere: what is possible at rest.",
        ],
        AlarmId::WrongProduct => [
            "The density in the line is not that of the papers.",
            "Another product or concentration; gas in the line; the density meter.",
            "The product's density at the line's temperature, with the uncertainty of table and meter.",
        ],
        AlarmId::PossibleReaction => [
            "The tank is warmer than both what was in it and what comes in.",
            "A reaction with water, a residue or another product; the thermometer.",
            "3 K or three standard uncertainties above the warmer of the two: mixing alone cannot warm beyond it.",
        ],
        AlarmId::PadAboveMawp => [
            "The pad pressure is above the MAWP on the trailer's plate.",
            "Gas supply opened too far; a regulator that failed open; heat; a reaction in the trailer.",
            "The plate. Not tunable.",
        ],
        AlarmId::PadInReliefWindow => [
            "The pad pressure is where the trailer's relief valve may open.",
            "As above MAWP.",
            "The plate. Not tunable.",
        ],
        AlarmId::PadBelowTank => [
            "The pad pressure is below the tank's: liquid or moist gas may come back.",
            "Gas supply shut, empty or frozen; the trailer vents; the tank's vent is shut.",
            "Three standard uncertainties of both gauges' zeros.",
        ],
        AlarmId::TankPressureHigh => [
            "The pressure of the tank's vapour space is near its own limit or above.",
            "More gas than the vent passes: the trailer has run out, or the pad is too high; a vent that is shut, frozen or plugged; a reaction.",
            "`near_ceiling` of `pressure_limit` of the tank in the site file, off its plate or drawing.",
        ],
        AlarmId::ReverseFlow => [
            "The flow meter runs backwards.",
            "Pad pressure lost; the tank's pressure; a siphon; the meter's zero or sign.",
            "0.2 kg/s: twice what creeps at rest.",
        ],
        AlarmId::ShutoffBypassed => [
            "The independent high-level shut-off is bypassed: nothing stops the tank from overflowing.",
            "A key or a valve left from a test or a repair.",
            "Follows from the contact; nothing to set.",
        ],
        AlarmId::TruckGone => [
            "The scale carries less than the trailer must weigh with what is still on it.",
            "The trailer was driven or rolled off; the scale.",
            "3,000 kg below what must stand there: more than any wind, person or hose.",
        ],
        AlarmId::BeAtValve => [
            "The earliest credible end, first gas or a level, is one response time away. It belongs to every delivery.",
            "The load is nearly in.",
            "`response_time` of the bay before the smallest 5 % quantile over credible witnesses.",
        ],
        AlarmId::AttendanceDue => [
            "It is time for the attendant on duty to say that they are there. It belongs to every delivery.",
            "The interval is over.",
            "`attendance` of the bay's limits; a qualified person attends the whole time (49 CFR 177.834(i)).",
        ],
        AlarmId::AttendanceOverdue => [
            "Nobody has said in time that they are in attendance.",
            "The attendant is busy or did not hear; the duty was not handed over; another screen than the bay's own.",
            "One `response_time` after the interval.",
        ],
        AlarmId::NobodyAttends => [
            "The transfer is on, and nobody says that they are in attendance.",
            "The attendant has left, is hurt or asleep.",
            "Two times `response_time` after the interval.",
        ],
        AlarmId::LevelWorking => [
            "A credible gauge of the tank stands at or above the maximum working level, or is saturated there.",
            "The tank was fuller than believed; more was ordered than fits.",
            "`working` of the tank in the site file (API Standard 2350).",
        ],
        AlarmId::LevelCritical => [
            "A credible gauge of the tank stands at or above the critical level, or is saturated there: it may overflow.",
            "High-high was passed; another bay or line fills the tank; a gauge with a wrong unit, zero or scale.",
            "`critical` of the tank in the site file (API Standard 2350).",
        ],
        AlarmId::LevelSoon => [
            "High-high is reached in less than one response time by the most pessimistic credible witness.",
            "The load does not fit; another bay or line fills the tank; one witness that is far off.",
            "`response_time` of the bay before the smallest 5 % quantile over credible witnesses.",
        ],
        AlarmId::NotIndependent => [
            "Two instruments follow each other more closely than their noise allows: together they prove nothing.",
            "One signal's register read for another's; one instrument computed from another.",
            "The stated false-alarm budget, as for the verdict.",
        ],
        AlarmId::PadRising => [
            "The pad pressure's trend is at its ceiling within one response time.",
            "Gas supply opened too far; the outlet or the line is shut or plugged.",
            "`response_time` of the bay; a trend is one beyond three of its standard errors, over a minute.",
        ],
        AlarmId::PadAboveSupply => [
            "The pad pressure is above the gas supply's: product or its vapour may go back into the gas line.",
            "Gas supply lost; a check valve that leaks; heat; a reaction in the trailer.",
            "Three standard uncertainties of both gauges' zeros.",
        ],
        AlarmId::FlowStopped => [
            "Nothing goes through the meter although much of the load is still on the trailer.",
            "A valve shut; pad pressure lost; a line that is plugged or frozen; the shut-off has closed.",
            "Movement below 0.1 kg/s, and more than 5 % of the planned amount to come beyond three standard uncertainties.",
        ],
        AlarmId::OtherTankRises => [
            "A tank of the bay that this load does not go to rises during the transfer.",
            "A valve between the tanks that is open or leaks; the load goes to the wrong tank; another delivery that this bay does not know of.",
            "20 mm and five times the noise of its gauge above where it stood at the start.",
        ],
        AlarmId::LoadTemperatureOff => [
            "What comes through the line is colder or warmer than the site takes into that tank.",
            "A load that was heated too little or too much; the line's thermometer.",
            "`temperature_low` and `temperature_high` of the tank in the site file.",
        ],
        AlarmId::DewPointHigh => [
            "The pad gas is moister than the site allows.",
            "A dryer that is spent; a leak in the gas line; the analyser.",
            "`dew_point` of the site file.",
        ],
        AlarmId::PadAtCeiling => [
            "The pad pressure is at or above the lowest of the site's maximum, MAWP and the ratings of hose, line and connections.",
            "Gas supply opened too far; a regulator that creeps; the outlet or the line is shut or plugged.",
            "The lowest limit in the site file and on the plate.",
        ],
        AlarmId::PadFalling => [
            "The pad pressure's trend is at the tank's pressure within one response time: then liquid may come back.",
            "Gas supply lost or shut; a hose or a fitting of the gas line that leaks; a regulator that has frozen.",
            "`response_time` of the bay; a trend is one beyond three of its standard errors, over a minute. Not for the last 5 % of the load.",
        ],
        AlarmId::PadBelowBand => [
            "The pad pressure is below the least that the site unloads with, while liquid flows.",
            "Gas supply lost or shut; a regulator set too low; a leak in the gas line.",
            "`pad_minimum` of the bay's limits; not for the last 5 % of the load.",
        ],
        AlarmId::DrawOffChanged => [
            "Another amount is drawn off the tank than when the transfer started: the room is another one.",
            "A consumer switched on or off; a valve of the draw-off; its meter.",
            "0.1 kg/s and five times the noise of its meter off what it was at the start.",
        ],
        AlarmId::ShutoffUnknown => [
            "The contact that tells whether the shut-off is bypassed says nothing: nobody knows that it would act.",
            "Its device or its line; a key switch that was unplugged.",
            "Follows from the contact; nothing to set.",
        ],
        AlarmId::FlowAbovePressure => [
            "More comes through the meter than driving pressure and levels explain, compared with the minute before. It names no instrument.",
            "A leak after the meter; a valve that was opened further; gas in the line; the meter shows more.",
            "3 % and six standard deviations, in two blocks of five seconds; after two minutes it is the line as it is now. Not once the first gas is due, nor for the last 5 % of the load; only where a pad drives.",
        ],
        AlarmId::FlowBelowPressure => [
            "Less comes through the meter than driving pressure and levels explain, compared with the minute before. It names no instrument.",
            "A leak before the meter; a valve that was turned; a plug; a kinked hose; the meter shows less.",
            "As for more than the pressure drives. Where the flow is still falling it waits until that has ended.",
        ],
        AlarmId::NearFreezing => [
            "What is in the tank is colder than the coldest load that it takes: it thickens, or freezes in its lines.",
            "Heating off or too weak; cold weather; a load that came in cold; a thermometer that shows too little.",
            "`temperature_low` of the tank's product; watched from the opening of a delivery on, where the tank has a thermometer.",
        ],
        AlarmId::PadNotKnown => [
            "The pad pressure is measured on the supply side of the gas hose, or not at all: with the gas shut nobody knows the trailer's. It belongs to every delivery there.",
            "`pad_tap` of the bay is `supply`, or it has no signal of the pad pressure.",
            "Follows from the site file; nothing to set.",
        ],
        AlarmId::PadCreeps => [
            "The pad pressure rises by more than a regulator wanders, while no less flows. It says so long before the ceiling is near.",
            "A regulator whose seat creeps or that sticks open; somebody has set it higher; a pressure transmitter that drifts.",
            "4.5 standard deviations of a regulator that wanders by 1.5 % of its pressure over ten minutes, over 30 s to 4 min. Not in the first minute of the flow, nor for the last 5 % of the load; only where a pad drives.",
        ],
        AlarmId::FirstGasDue => [
            "The earliest credible first gas at the trailer's outlet has come. It belongs to every delivery.",
            "The load is nearly in.",
            "The smallest 5 % quantile over credible witnesses.",
        ],
    }
}

/// `docs/alarms.md`.
#[must_use]
pub fn paper(language: &dyn Language) -> String {
    let mut text = String::from(HEAD);
    for line in CATALOGUE {
        let Explained { means, causes, act, basis } = language.explained(line.id);
        let priority = match line.priority() {
            Priority::High => "high",
            Priority::Medium => "medium",
            Priority::Low => "low",
        };
        let consequence = match line.consequence {
            Consequence::Severe => "severe",
            Consequence::Serious => "serious",
        };
        let time = match line.time {
            TimeToRespond::AtOnce => "at once",
            TimeToRespond::ResponseTime => "within the response time",
            TimeToRespond::Delivery => "before the next phase",
        };
        let shelf = if line.shelvable { " May be shelved or taken out of service." } else { "" };
        let kind = if line.prompt { "Prompt" } else { "Alarm" };
        let ends = if line.latched { "" } else { " Goes by itself." };
        let delay = if line.delayed { "after the on-delay" } else { "without delay" };
        let _ = write!(
            text,
            "\n## `{}`\n\n{means}\n\n- First: {act}\n- Likely behind it: {causes}\n- {kind}, priority {priority}: \
             {consequence} if nobody acts, to be answered {time}. Comes {delay}.{ends}{shelf}\n- Setting: {basis}\n",
            line.name
        );
    }
    text
}

const HEAD: &str = "\
# Alarms

This page is made of the alarm catalogue (`BRIMWATCH_REWRITE=1 cargo test --test docs alarms`).

brimwatch advises and stops nothing. An independent high-level shut-off and a qualified person in attendance are
required; the works' own procedures, local codes and licensed practice come before anything said here.

The layer follows ANSI/ISA-18.2 and IEC 62682 as published. A condition answers true, false or unknown. Unknown is not
normal: it neither raises an alarm nor clears one. An alarm comes when its condition has held for the on-delay, or at
once where the line below says so. It goes when the condition has been false for the off-delay and somebody has said
\"Seen\"; where its line says so, without. \"Seen\" clears nothing. The first of those that are open together is marked.
Where the site file gives an alarm a dead-band, an open one's condition holds until its value is so far back from the
limit; none comes later for it. Its priority follows from two things:

| if nobody acts | at once | within the response time | before the next phase |
| --- | --- | --- | --- |
| severe: people hurt, a tank overflows, or what would warn of it is blind | high | high | medium |
| serious: product, plant or account suffers, or the watch sees less | medium | medium | low |

An open alarm may be shelved by an entry that says for how many minutes, one shift at the most. It is then named among
the notes instead of called out, and comes back unseen when its time is over. Only the lines below that say so may be
shelved, and of signals only those that neither warn of level, pressure, reaction or another product nor make a witness.
The same alarms may be taken out of service by an engineer, who says why: until they are put back. Who, since when and why
stands on the recording and on the page for as long as it lasts.

Suppressed by design is what the state of the plant makes come as a matter of course. Its condition holds, nobody is called,
and which and why stands on the page beside the alarms set aside, in the recording and in the unloading record. There are two:

- A density meter that shows gas, below its range, while no liquid flows: before the load has reached it, or after the line
  was blown clear. The same meter is called out as soon as liquid flows.
- `suppressed_in` of a signal in the site file: the loss of a signal, or a reading of it that is unlikely, in the phases
  `idle`, `opened` or `closed`, where its device is off by design. Only of line or pad-gas temperature, gas supply pressure,
  draw-off and dew point; never in a transfer. `check` refuses it of anything else.

Nothing suppresses what warns of level, pad or tank pressure, missing mass, another product or a reaction, nor the loss of
what they are told by. An alarm that is open when its suppression begins stays until somebody has seen it and the off-delay
is over; when suppression ends and the condition still holds, the alarm comes.

Where the site asks for attendance (`attendance` in the bay's limits), the attendant on duty says \"I am here\" at the
bay's own screen: the one that an engineer has made its own, or any page on the machine where nobody signs in. Whoever
starts the transfer is on duty until the duty is handed over: who goes, who comes, and the state of the bay as it was read
back. A hand-over is no attendance.

After \"closed\" tank, line and trailer stay watched: levels, pressures, temperature, movement. That goes on until the step
\"released\" is signed by all who must, and 30 min beyond; where nobody signs it, until the next delivery, at the longest
for a day. From then on the bay is idle: its levels and any movement are watched as ever.

A prompt belongs to every delivery; it sounds, and is no alarm.
";

#[cfg(test)]
mod tests {
    use super::super::first_acts_due;
    use super::*;

    /// The first act of whatever is about missing mass, pressure, level or reaction is the same sentence everywhere.
    #[test]
    fn first_acts_come_first() {
        for line in CATALOGUE {
            let act = english(line.id).act;
            assert_eq!(act.starts_with(super::super::en::ACT), first_acts_due(line.id), "{}", line.name);
        }
    }
}
