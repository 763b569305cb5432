//! The linear estimate against the true posterior with its rectangles, by weighting boards drawn from the prior
//! (importance sampling): the mean error must agree within the spread, and the band must not be narrower than the
//! true one by much.

use icepoint_bench::calibrate::Calibrator;
use icepoint_bench::calibrate::simulate::{build, in_use, read};
use icepoint_chain::budget::monte_carlo::generator;
use icepoint_chain::chain::Correction;

use crate::{condition, example, given};

const DRAWS: u32 = 40_000;

#[test]
fn true_posterior_of_one_reading() {
    let model = example("burnout-kiln");
    let (hot, board) = ([400.0], [35.0]);
    let conditions = vec![condition(&model, given(&model, 300.0, 23.0), 23.0, 4, 2)];
    let c = Calibrator::new(&model, Correction::NONE, conditions, (&hot, &board), 0.0).unwrap();
    let mut rng = generator(21, 0);
    let truth = build(&c.forward, 1.0, &mut rng);
    let y = read(&c.forward, &truth, &c.noise.per_volt, &mut rng).unwrap()[0].iter().sum::<f64>() / 4.0;
    let solved = c.solve(&[y]).unwrap();
    let mut work = c.forward.work();
    let (mut weight, mut sum, mut squares, mut weights2) = (0.0, 0.0, 0.0, 0.0);
    for n in 0..DRAWS {
        let mut rng = generator(22, n);
        let b = build(&c.forward, 1.0, &mut rng);
        let r = (y - c.forward.answer(0, &b.z, &mut work).unwrap()) / c.inference.reading[0];
        let w = libm::exp(-0.5 * r * r);
        if w < 1e-12 {
            continue;
        }
        let e = in_use(&c.forward, &b, solved.constants, (&hot, &board), &mut rng).unwrap()[0] - hot[0];
        weight += w;
        weights2 += w * w;
        sum += w * e;
        squares += w * e * e;
    }
    let mean = sum / weight;
    let standard = (squares / weight - mean * mean).sqrt();
    let effective = weight * weight / weights2;
    let point = solved.band[0];
    println!(
        "mean error {:.3} K (weighted {mean:.3} K), standard {:.3} K ({standard:.3} K), {effective:.0} effective draws",
        point.bias, point.standard
    );
    assert!(effective > 300.0, "{effective}");
    // The estimate is linear, the posterior is not: a quarter of the spread is the room for that and for chance.
    assert!((point.bias - mean).abs() < 0.25 * standard, "{} {mean}", point.bias);
    assert!((point.standard / standard - 1.0).abs() < 0.15, "{} {standard}", point.standard);
}
