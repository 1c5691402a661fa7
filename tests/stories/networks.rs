//! The filter behind the verdict, as a data reconciliation: each stream's error is a state, each balance a row without noise.
//! Reconciled values, global test and measurement test of published examples come out to their printed digits.

use brimwatch::engine::filter::{Filter, STATES, Vector};

struct Network {
    measured: Vec<f64>,
    /// Each stream's error as a mixture of independent ones.
    mixtures: Vec<Vector>,
    /// What each balance adds up to nothing.
    balances: Vec<Vec<f64>>,
}

struct Adjusted {
    values: Vec<f64>,
    /// Standard uncertainties.
    u: Vec<f64>,
    /// |adjustment| over its standard deviation.
    z: Vec<f64>,
    global: f64,
}

impl Network {
    fn new(measured: &[f64], sigma: &[f64], balances: &[&[(usize, f64)]]) -> Network {
        let mixture = |(i, sigma): (usize, &f64)| {
            let mut mixture = [0.0; STATES];
            mixture[i] = *sigma;
            mixture
        };
        let balance = |terms: &&[(usize, f64)]| {
            let mut row = vec![0.0; measured.len()];
            terms.iter().for_each(|&(i, share)| row[i] = share);
            row
        };
        Network {
            measured: measured.to_vec(),
            mixtures: sigma.iter().enumerate().map(mixture).collect(),
            balances: balances.iter().map(balance).collect(),
        }
    }

    /// Streams `a` and `b` err together.
    fn correlate(&mut self, a: usize, b: usize, rho: f64) {
        let sigma = self.mixtures[b][b];
        self.mixtures[b][a] = rho * sigma;
        self.mixtures[b][b] = (1.0 - rho * rho).sqrt() * sigma;
    }

    fn adjust(&self) -> Adjusted {
        let mut filter = Filter::default();
        let mut global = 0.0;
        for balance in &self.balances {
            let mut h = [0.0; STATES];
            let mut sum = 0.0;
            for ((share, mixture), measured) in balance.iter().zip(&self.mixtures).zip(&self.measured) {
                sum += share * measured;
                h.iter_mut().zip(mixture).for_each(|(h, m)| *h += share * m);
            }
            let expected = filter.expect(&h, 0.0);
            let off = sum - expected.value;
            global += off * off / expected.variance;
            filter.take(&expected, off);
        }
        let mut adjusted = Adjusted { values: Vec::new(), u: Vec::new(), z: Vec::new(), global };
        for (measured, mixture) in self.measured.iter().zip(&self.mixtures) {
            let error: f64 = mixture.iter().zip(filter.x()).map(|(m, x)| m * x).sum();
            let prior: f64 = mixture.iter().map(|m| m * m).sum();
            let left = filter.covariance(mixture, mixture);
            adjusted.values.push(measured - error);
            adjusted.u.push(left.sqrt());
            adjusted.z.push(error.abs() / (prior - left).sqrt());
        }
        adjusted
    }
}

fn assert_printed(got: &[f64], printed: &[f64], half_digit: f64, what: &str) {
    assert_eq!(got.len(), printed.len());
    for (i, (got, printed)) in got.iter().zip(printed).enumerate() {
        assert!((got - printed).abs() <= half_digit, "{what} {i}: {got}, printed {printed}");
    }
}

/// The stream into a balance, those out of it.
fn node(into: &[usize], out: &[usize]) -> Vec<(usize, f64)> {
    into.iter().map(|&i| (i - 1, 1.0)).chain(out.iter().map(|&i| (i - 1, -1.0))).collect()
}

fn network(measured: &[f64], sigma: &[f64], nodes: &[Vec<(usize, f64)>]) -> Network {
    let rows: Vec<&[(usize, f64)]> = nodes.iter().map(Vec::as_slice).collect();
    Network::new(measured, sigma, &rows)
}

/// Heat exchanger with bypass: Narasimhan and Jordache, Data Reconciliation and Gross Error Detection (2000). The biased
/// case's figures are quoted from memory and recomputed.
#[test]
fn heat_exchanger_with_bypass() {
    let nodes = [node(&[1], &[2, 3]), node(&[2], &[4]), node(&[3], &[5]), node(&[4, 5], &[6])];
    let measured = [101.91, 64.45, 34.65, 64.20, 36.44, 98.88];
    let clean = network(&measured, &[1.0; 6], &nodes).adjust();
    assert_printed(&clean.values, &[100.22, 64.50, 35.72, 64.50, 35.72, 100.22], 0.005_01, "reconciled");
    assert!((clean.global - 6.4075).abs() < 5e-5, "{}", clean.global);
    let mut biased = measured;
    biased[1] += 4.0;
    let found = network(&biased, &[1.0; 6], &nodes).adjust();
    assert!((found.global - 16.674).abs() < 5e-4, "{}", found.global);
    assert_printed(&found.z, &[1.2533, 3.2047, 0.4940, 2.0004, 1.6983, 2.4577], 5.01e-5, "z");
}

/// Steam plant: the worked example of VDI 2048, as quoted in an open regression test.
#[test]
fn steam_plant() {
    let half_widths = [0.800, 0.790, 0.535, 0.532, 0.105, 0.854, 0.168, 0.058, 0.058, 0.205];
    let sigma = half_widths.map(|w| w / 1.96);
    let measured = [46.241, 45.668, 44.575, 44.319, 0.525, 69.978, 10.364, 3.744, 4.391, 18.498];
    // F1 = 0 + 1 - 0.2 V, F2 = 2 + 3 - 0.6 V, F3 = 5 + 6 + 7 + 8 + 0.4 V; F1 = F2 = F3; 6 + 7 + 8 = 9.
    let first = [(0, 1.0), (1, 1.0), (4, -0.2 + 0.6), (2, -1.0), (3, -1.0)];
    let second = [(2, 1.0), (3, 1.0), (4, -0.6 - 0.4), (5, -1.0), (6, -1.0), (7, -1.0), (8, -1.0)];
    let third = [(6, 1.0), (7, 1.0), (8, 1.0), (9, -1.0)];
    let mut plant = Network::new(&measured, &sigma, &[&first, &second, &third]);
    plant.correlate(0, 1, 0.2);
    plant.correlate(2, 3, 0.4);
    let adjusted = plant.adjust();
    let printed =
        [44.96449, 44.41797, 44.92590, 44.66710, 0.526_348, 70.55306, 10.37578, 3.745_404, 4.392_404, 18.51359];
    assert_printed(&adjusted.values, &printed, 5.1e-6, "reconciled");
    let printed = [
        0.575_627,
        0.572_818,
        0.404_463,
        0.402_919,
        0.104_623,
        0.559_873,
        0.133_003,
        0.056_695_3,
        0.056_695_3,
        0.137_103,
    ];
    let half: Vec<f64> = adjusted.u.iter().map(|u| 1.96 * u).collect();
    assert_printed(&half, &printed, 1e-6, "half width");
    assert!((adjusted.global - 20.31).abs() < 5e-3, "{}", adjusted.global);
    // Both feed-water meters, which no balance tells apart, are the furthest off.
    assert!((adjusted.z[0] - 4.50).abs() < 5e-3 && (adjusted.z[1] - 4.50).abs() < 5e-3, "{:?}", adjusted.z);
    assert!(adjusted.z[2..].iter().all(|z| *z < 1.98), "{:?}", adjusted.z);
}

/// Eight streams, four nodes: data of Yang, Ten and Jang (1995); adjusted with numpy.
#[test]
fn eight_streams_with_one_off() {
    let variances: [f64; 8] = [3.234, 1.803, 1.665, 0.999, 3.129, 0.418, 3.228, 1.623];
    let nodes = [node(&[1], &[2, 7]), node(&[2, 8], &[3]), node(&[3, 4], &[5]), node(&[6, 7], &[8])];
    // The fourth balance is -6 + 7 - 8 = 0, the second 2 - 3 + 8 = 0.
    let fourth = vec![(5, -1.0), (6, 1.0), (7, -1.0)];
    let nodes = [nodes[0].clone(), nodes[1].clone(), nodes[2].clone(), fourth];
    let measured = [110.1, 41.1, 79.0, 30.6, 108.3, 19.8, 55.0, 39.0];
    let adjusted = network(&measured, &variances.map(f64::sqrt), &nodes).adjust();
    let printed = [101.339, 42.529, 80.900, 29.826, 110.726, 20.439, 58.810, 38.371];
    assert_printed(&adjusted.values, &printed, 5.1e-4, "reconciled");
    assert!((adjusted.global - 35.23).abs() < 5e-3, "{}", adjusted.global);
    assert_printed(&adjusted.z, &[5.673, 1.535, 1.930, 1.727, 1.727, 2.523, 2.516, 0.695], 5.1e-4, "z");
}

/// Twelve streams, six nodes: data of Mitsas (2010); adjusted with numpy.
#[test]
fn twelve_streams() {
    let sigma = [1.0, 0.3, 0.4, 0.3, 0.3, 0.1, 0.2, 0.7, 0.3, 0.4, 0.8, 1.0];
    let measured = [100.49, 29.46, 40.41, 30.05, 15.17, 4.98, 9.92, 70.68, 10.03, 19.82, 81.06, 101.57];
    let nodes = [
        node(&[1], &[2, 3, 4]),
        node(&[2], &[5, 6, 7]),
        node(&[3, 5, 6, 7], &[8]),
        node(&[4], &[9, 10]),
        node(&[8, 9], &[11]),
        node(&[10, 11], &[12]),
    ];
    let adjusted = network(&measured, &sigma, &nodes).adjust();
    let printed =
        [100.582, 29.8012, 40.7095, 30.0714, 14.9972, 4.9608, 9.8432, 70.5107, 10.146, 19.9254, 80.6567, 100.582];
    assert_printed(&adjusted.values, &printed, 5.1e-4, "reconciled");
    assert!((adjusted.global - 3.891).abs() < 5e-4, "{}", adjusted.global);
}

/// Seven streams, four nodes: data of Rosenberg, Mah and Iordache (1987); adjusted with numpy.
#[test]
fn seven_streams() {
    let measured = [5.026, 14.722, 14.721, 4.968, 10.088, 5.131, 4.835];
    let nodes = [node(&[1, 4, 6], &[2]), node(&[2], &[3]), node(&[3], &[4, 5]), node(&[5], &[6, 7])];
    let adjusted = network(&measured, &[1.0; 7], &nodes).adjust();
    assert_printed(&adjusted.values, &[4.905, 14.7986, 14.7986, 4.8138, 9.9849, 5.0799, 4.905], 5.1e-4, "reconciled");
    assert!((adjusted.global - 0.0685).abs() < 5e-5, "{}", adjusted.global);
}

/// One balance, 1 = 2 + 3 (Rao 1996): it detects and never says which; all three are equally far off.
#[test]
fn one_balance_never_says_which() {
    let measured = [9.22, 4.83, 3.22];
    let adjusted = network(&measured, &measured.map(|x| 0.03 * x), &[node(&[1], &[2, 3])]).adjust();
    assert_printed(&adjusted.values, &[8.3821, 5.0599, 3.3222], 5.1e-5, "reconciled");
    assert!((adjusted.global - 12.813).abs() < 5e-4, "{}", adjusted.global);
    assert_printed(&adjusted.z, &[3.58; 3], 5.1e-3, "z");
}
