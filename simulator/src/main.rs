//! The simulator's command line.

use brimwatch_simulator::{demo, scenario};
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
    /// Print every parameter of the simulated plant and its instruments
    Parameters {
        /// Seed of everything that is drawn
        #[arg(long, default_value_t = 1)]
        seed: u64,
    },
}

/// Beyond this a poll of 1 s engine time has less than 10 ms of real time: the machine, not the plant, is tried.
const SPEED_MOST: f64 = 100.0;

fn speed(text: &str) -> Result<f64, String> {
    let speed: f64 = text.parse().map_err(|_| format!("\"{text}\" is no number"))?;
    if (1.0..=SPEED_MOST).contains(&speed) {
        Ok(speed)
    } else {
        Err(format!("{speed} times real time is outside 1 to {SPEED_MOST}"))
    }
}

#[tokio::main]
async fn main() -> ExitCode {
    tracing_subscriber::fmt().with_writer(std::io::stderr).with_max_level(tracing::Level::ERROR).init();
    let done = match Cli::parse().command {
        Command::Demo { once, speed, store, seed, port } => {
            let ended = demo::run(&demo::Options { once, speed, store, seed, port }).await;
            ended.map_err(|why| format!("The demo ended: {why}"))
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

/// What the demo of this seed is made of.
fn parameters(seed: u64) -> Result<(), String> {
    let (site, delivery) = scenario::works(Path::new("")).map_err(|faults| faults.to_string())?;
    let settings = &site.bays[delivery.bay].settings;
    println!("{}", scenario::plant(settings, &delivery.setup, seed));
    println!("{}", scenario::instruments(settings, delivery.setup.tank, seed));
    Ok(())
}
