//! The wire, held against floors measured in the same run: what polling costs beside a client written by hand, how
//! well the schedule is kept, what bad devices, faults and the recorder do to it, what the whole program takes.
//!
//! ```sh
//! cargo bench --bench wire               # every part
//! cargo bench --bench wire -- polling    # one of them
//! ```
//! Nothing here passes or fails: figures are printed as tables, beside their goals. Servers run in a process of their
//! own, and so does whatever has its processor time or memory measured: the program starts itself again with a
//! `role-` argument.

mod client;
mod commit;
mod crowd;
mod faults;
mod figures;
mod memory;
mod polling;
mod process;
mod server;
mod watched;

/// What is measured, in order.
const PARTS: [(&str, fn()); 7] = [
    ("polling", polling::part),
    ("memory", memory::part),
    ("crowd", crowd::part),
    ("faults", faults::part),
    ("commit", commit::part),
    ("bay", watched::bay_part),
    ("monitor", watched::monitor_part),
];

fn main() {
    // `cargo bench` adds a word of its own.
    let words: Vec<String> = std::env::args().skip(1).filter(|word| word != "--bench").collect();
    match words.iter().map(String::as_str).collect::<Vec<_>>()[..] {
        ["role-server", plan] => server::role(plan),
        ["role-client", plan] => client::role(plan),
        ["role-plant", _] => watched::plant_role(),
        _ => run(&words),
    }
}

fn run(wanted: &[String]) {
    let names = PARTS.map(|(name, _)| name);
    if let Some(unknown) = wanted.iter().find(|word| !names.contains(&word.as_str())) {
        eprintln!("no part {unknown:?}; there are {}", names.join(", "));
        std::process::exit(2);
    }
    for (name, part) in PARTS {
        if wanted.is_empty() || wanted.iter().any(|word| word == name) {
            let (begun, load) = (std::time::Instant::now(), process::load());
            part();
            println!(
                "({name}: {:.0} s; load of the machine before and after: {load}, {})\n",
                begun.elapsed().as_secs_f64(),
                process::load()
            );
        }
    }
}
