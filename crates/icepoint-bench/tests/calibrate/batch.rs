//! An inventory of simulated boards: a batch that is as the prior says must be called honest, one that is twice as far off
//! must not.

use icepoint_bench::calibrate::simulate::{build, read};
use icepoint_bench::calibrate::{Calibrator, findings};
use icepoint_bench::inventory::{Batch, BatchError, Verdict, batch};
use icepoint_chain::budget::monte_carlo::generator;
use icepoint_chain::chain::{Chain, Correction};

use crate::{condition, example, given};

const BOARDS: u32 = 24;
const AT: &[(f64, f64)] = &[(23.0, 23.0), (400.0, 23.0), (1000.0, 23.0), (1000.0, 45.0)];

fn boards(times: f64, seed: u64) -> Vec<(String, Chain)> {
    let model = example("burnout-kiln");
    let conditions = AT
        .iter()
        .enumerate()
        .map(|(k, &(hot, board))| condition(&model, given(&model, hot, board), board, 4, 2 + 4 * k))
        .collect();
    let c = Calibrator::new(&model, Correction::NONE, conditions, (&[20.0, 1100.0], &[23.0]), 0.0).unwrap();
    (0..BOARDS)
        .map(|n| {
            let mut rng = generator(seed, n);
            let as_built = build(&c.forward, times, &mut rng);
            let readings = read(&c.forward, &as_built, &c.noise.per_volt, &mut rng).unwrap();
            let means: Vec<f64> = readings.iter().map(|r| r.iter().sum::<f64>() / r.len() as f64).collect();
            let solved = c.solve(&means).unwrap();
            let mut found = findings(&c, &solved);
            found.serial = Some(format!("K-{n:03}"));
            let mut chain = model.chain().clone();
            chain.correction = Some(solved.constants);
            chain.findings = Some(found);
            (format!("{n}.toml"), chain)
        })
        .collect()
}

fn told(batch: &Batch) -> String {
    format!("ratio {:.2}, by chance {:.2?}, {} directions", batch.ratio, batch.by_chance, batch.directions)
}

#[test]
fn honest_and_dishonest_batches() {
    let honest = batch(&boards(1.0, 31)).unwrap();
    println!("as the prior says: {}", told(&honest));
    assert_eq!(honest.verdict(), Verdict::Honest, "{}", told(&honest));
    // What the boards are like at each temperature is what was predicted, within what 24 boards can tell.
    for at in &honest.at {
        let ratio = at.seen / at.predicted_of_estimates;
        assert!((0.6..1.5).contains(&ratio), "{at:?}");
        assert!(at.predicted_of_estimates < at.predicted, "{at:?}");
    }
    let wild = batch(&boards(2.0, 32)).unwrap();
    println!("twice as far off: {}", told(&wild));
    assert_eq!(wild.verdict(), Verdict::TooSmall, "{}", told(&wild));
}

#[test]
fn boards_that_do_not_belong_together() {
    let all = boards(1.0, 33);
    assert_eq!(batch(&[]), Err(BatchError::Empty));
    let mut other = all[..2].to_vec();
    other[1].1.need.hot.1 = 1050.0;
    assert!(matches!(batch(&other), Err(BatchError::OtherDesign(_, _))));
    let mut same = all[..2].to_vec();
    same[1] = all[0].clone();
    assert_eq!(batch(&same), Err(BatchError::SameSerial("K-000".into())));
    let mut bare = all[..2].to_vec();
    bare[1].1.findings = None;
    assert_eq!(batch(&bare), Err(BatchError::NotCalibrated("1.toml".into())));
    let mut changed = all[..1].to_vec();
    changed[0].1.findings.as_mut().unwrap().deviations[0].id = "R99.tolerance".into();
    assert!(matches!(batch(&changed), Err(BatchError::Model(_))));
}
