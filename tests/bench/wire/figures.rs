//! Quantiles, and tables as the papers have them.

/// Values in order, to be asked for quantiles.
pub struct Sorted(Vec<f64>);

impl Sorted {
    pub fn new(values: impl IntoIterator<Item = f64>) -> Sorted {
        let mut values: Vec<f64> = values.into_iter().collect();
        values.sort_by(f64::total_cmp);
        Sorted(values)
    }

    /// The value that a part `q` of all does not exceed (nearest rank); NaN of none.
    pub fn at(&self, q: f64) -> f64 {
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, clippy::cast_precision_loss, reason = "few")]
        let rank = (q * self.0.len() as f64).ceil() as usize;
        self.0.get(rank.max(1) - 1).copied().unwrap_or(f64::NAN)
    }

    pub fn median(&self) -> f64 {
        self.at(0.5)
    }

    pub fn most(&self) -> f64 {
        self.at(1.0)
    }

    pub fn count(&self) -> usize {
        self.0.len()
    }

    /// Median, and least and most in brackets.
    pub fn spread(&self, digits: usize) -> String {
        format!("{:.digits$} ({:.digits$}..{:.digits$})", self.median(), self.at(0.0), self.most())
    }

    /// Median, 99 % and maximum.
    pub fn three(&self, digits: usize) -> String {
        format!("{:.digits$} / {:.digits$} / {:.digits$}", self.median(), self.at(0.99), self.most())
    }
}

/// A heading, and a table below it.
pub fn table<const N: usize>(heading: &str, head: [&str; N], rows: &[[String; N]]) {
    println!("## {heading}\n");
    println!("| {} |", head.join(" | "));
    println!("|{}", " --- |".repeat(N));
    for row in rows {
        println!("| {} |", row.join(" | "));
    }
    println!();
}

/// A goal beside what was measured.
pub fn goal(text: &str, met: bool) -> String {
    format!("{text}: {}", if met { "met" } else { "missed" })
}
