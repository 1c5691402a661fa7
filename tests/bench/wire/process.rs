//! Processes: this program started again in another role, and what one takes.

use rustix::time::{ClockId, clock_gettime};
use serde::Serialize;
use std::fs;
use std::process::{Child, Command, Stdio};

/// A process that ends with whoever holds it.
pub struct Owned(pub Child);

impl Drop for Owned {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

/// Starts this program in a role, with what it is told; both its ends are pipes.
pub fn again(role: &str, told: &impl Serialize) -> Owned {
    let told = serde_json::to_string(told).expect("plain data");
    let own = std::env::current_exe().expect("a path");
    let child = Command::new(own).args([role, &told]).stdin(Stdio::piped()).stdout(Stdio::piped()).spawn();
    Owned(child.expect("this program, started again"))
}

/// Processor time that this process has taken, ns.
pub fn own_cpu_ns() -> f64 {
    let t = clock_gettime(ClockId::ProcessCPUTime);
    #[expect(clippy::cast_precision_loss, reason = "hours at most")]
    let ns = (t.tv_sec * 1_000_000_000 + t.tv_nsec) as f64;
    ns
}

/// Processor time that a process has taken, s (proc_pid_stat(5): fields 14 and 15, in hundredths).
pub fn cpu_s(pid: u32) -> f64 {
    let stat = fs::read_to_string(format!("/proc/{pid}/stat")).expect("a process");
    let behind_name = stat.rsplit_once(") ").expect("a name in brackets").1;
    let ticks = behind_name.split(' ').skip(11).take(2).map(|field| field.parse::<f64>().expect("ticks"));
    ticks.sum::<f64>() / 100.0
}

/// A line of a process's status, kB: `VmRSS` what is resident, `VmHWM` the most that ever was.
pub fn status_kb(pid: &str, key: &str) -> f64 {
    let status = fs::read_to_string(format!("/proc/{pid}/status")).expect("a process");
    let line = status.lines().find_map(|line| line.strip_prefix(key)?.strip_prefix(':')).expect("a key of status");
    line.trim().trim_end_matches(" kB").parse().expect("kB")
}

/// Processes ready to run, on average over the last minute.
pub fn load() -> String {
    let load = fs::read_to_string("/proc/loadavg").expect("a load");
    load.split(' ').next().unwrap_or_default().to_owned()
}
