//! The simulator's command line.

use brimwatch::recording::ENDING;
use brimwatch::units::{Quantity, Unit};
use brimwatch_simulator::desk::session::Plays;
use brimwatch_simulator::scenarios::Scenario;
use brimwatch_simulator::{demo, desk, drill, play, scenario, wrong};
use clap::{Parser, Subcommand};
use std::path::{Path, PathBuf};
use std::process::ExitCode;

/// A trailer, a line, a tank and their instruments that are not there, for trying brimwatch.
#[derive(Parser)]
#[command(version)]
struct Cli {
    #[command(subcommand)]
    command: Command,
}

#[derive(Subcommand)]
enum Command {
    /// Unload a simulated trailer while brimwatch watches, over Modbus on this machine
    Demo {
        /// End after the transfer; otherwise the page stays up until Ctrl-C
        #[arg(long)]
        once: bool,
        /// Times real time
        #[arg(long, default_value_t = 20.0, value_parser = speed)]
        speed: f64,
        /// Folder under which each run makes one of its own
        #[arg(long, default_value = "drill")]
        store: PathBuf,
        /// Seed of everything that is drawn
        #[arg(long, default_value_t = 1)]
        seed: u64,
        /// Port of the page on 127.0.0.1; 0 for a free one
        #[arg(long, default_value_t = 0)]
        port: u16,
    },
    /// Hold drills from a trainer's desk: something goes wrong, a trainee acts, the result is kept
    Drill {
        /// Begin at once with this scenario, by its name or the path of a file, or with a recorded delivery by its path
        /// (ending in .brim); otherwise it is chosen at the desk
        scenario: Option<String>,
        /// Folder of recorded deliveries (a bay's recordings, or a site's store) to choose from beside the scenarios
        #[arg(long)]
        recordings: Option<PathBuf>,
        /// Site file, to hold drills of its bay; needs its delivery's papers
        #[arg(long, requires = "delivery")]
        site: Option<PathBuf>,
        /// Papers of a delivery to that site
        #[arg(long, requires = "site")]
        delivery: Option<PathBuf>,
        /// Times real time, for a drill that begins at once
        #[arg(long, default_value_t = 10.0, value_parser = speed)]
        speed: f64,
        /// Folder under which each drill makes one of its own
        #[arg(long, default_value = "drill")]
        store: PathBuf,
        /// Seed of everything that is drawn
        #[arg(long, default_value_t = 1)]
        seed: u64,
        /// Port of the monitor's page on 127.0.0.1; 0 for a free one
        #[arg(long, default_value_t = 0)]
        port: u16,
        /// Port of the desk on 127.0.0.1; 0 for a free one
        #[arg(long, default_value_t = 0)]
        desk_port: u16,
    },
    /// Serve a recorded delivery over Modbus as if it were live, and let brimwatch watch it
    ///
    /// A fault is written as in scenario files: "tank level: stuck, at 20 min" or "truck scale: creep, 0.6 t/h"; its time
    /// counts from the start of the recorded transfer. Only instruments, their devices and gateways can go wrong.
    Play {
        /// The recording
        recording: PathBuf,
        /// Site file to play it to, with its own register map; otherwise the one that the recording holds
        #[arg(long)]
        site: Option<PathBuf>,
        /// Times real time
        #[arg(long, default_value_t = 1.0, value_parser = speed)]
        speed: f64,
        /// Take what lies before this as it was, without waiting: "25 min" after the recording's beginning
        #[arg(long, default_value = "0 s", value_parser = seconds)]
        from: f64,
        /// What goes wrong; may be given several times
        #[arg(long)]
        fault: Vec<String>,
        /// Folder under which each run makes one of its own
        #[arg(long, default_value = "drill")]
        store: PathBuf,
        /// Port of the page on 127.0.0.1; 0 for a free one
        #[arg(long, default_value_t = 0)]
        port: u16,
        /// End with the recording; otherwise the page stays up until Ctrl-C
        #[arg(long)]
        once: bool,
        /// In process with the recorded time stamps: no sockets, no page, no waiting
        #[arg(long, conflicts_with_all = ["speed", "from", "port"])]
        at_once: bool,
    },
    /// Print every parameter of the simulated plant and its instruments
    Parameters {
        /// Seed of everything that is drawn
        #[arg(long, default_value_t = 1)]
        seed: u64,
    },
}

fn speed(text: &str) -> Result<f64, String> {
    drill::speed(text.parse().map_err(|_| format!("\"{text}\" is no number"))?)
}

fn seconds(text: &str) -> Result<f64, String> {
    let s = wrong::amount(text, Quantity::Time, Unit::to_si)?;
    if s >= 0.0 { Ok(s) } else { Err(format!("\"{text}\" is before the beginning")) }
}

#[tokio::main]
async fn main() -> ExitCode {
    tracing_subscriber::fmt().with_writer(std::io::stderr).with_max_level(tracing::Level::ERROR).init();
    let done = match Cli::parse().command {
        Command::Demo { once, speed, store, seed, port } => {
            let ended = demo::run(&demo::Options { once, speed, store, seed, port }).await;
            ended.map_err(|why| format!("The demo ended: {why}"))
        }
        Command::Drill { scenario, recordings, site, delivery, speed, store, seed, port, desk_port } => {
            let options = desk::session::Options { site: site.zip(delivery), recordings, store, port, seed };
            let first = scenario.map(|name| Ok::<_, String>((plays(&name)?, speed))).transpose();
            match first {
                Ok(first) => desk::run(options, first, desk_port).await,
                Err(why) => Err(why),
            }
        }
        Command::Play { recording, site, speed, from, fault, store, port, once, at_once } => {
            let from_s = from;
            let options = play::Options { recording, site, speed, from_s, faults: fault, store, port, once, at_once };
            play::run(&options).await.map(drop)
        }
        Command::Parameters { seed } => parameters(seed),
    };
    match done {
        Ok(()) => ExitCode::SUCCESS,
        Err(why) => {
            eprintln!("{why}");
            ExitCode::FAILURE
        }
    }
}

/// What a drill is to be made of, as it is written.
fn plays(name: &str) -> Result<Plays, String> {
    let path = Path::new(name);
    match path.extension() {
        Some(ending) if ending == ENDING => Ok(Plays::Recording(path.to_owned())),
        _ => Ok(Plays::Scenario(Box::new(Scenario::find(name)?))),
    }
}

/// What the demo of this seed is made of.
fn parameters(seed: u64) -> Result<(), String> {
    let (site, delivery) = scenario::works(Path::new("")).map_err(|faults| faults.to_string())?;
    let settings = &site.bays[delivery.bay].settings;
    println!("{}", scenario::plant(settings, &delivery.setup, seed));
    println!("{}", scenario::instruments(settings, delivery.setup.tank, seed));
    Ok(())
}
