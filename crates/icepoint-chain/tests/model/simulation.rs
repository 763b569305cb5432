//! Monte Carlo against itself on other numbers of threads, against GUM where the chain is near linear, and inside the
//! worst case.

use crate::bench::{Board, InHand, bench, kiln};
use icepoint_chain::budget::monte_carlo::{self, BLOCK, MonteCarlo};
use icepoint_chain::budget::{Study, gum, worst_case};
use icepoint_chain::chain::CalibrationWish;

const TRIALS: u32 = 12_000;

fn study(board: &Board) -> Study<'_> {
    let need = board.chain().need;
    // Inside the range: at its ends the output touches its limits and the chain is not linear.
    let hot = [0.1, 0.5, 0.9].map(|s| need.hot.0 + s * (need.hot.1 - need.hot.0)).to_vec();
    board.study(hot, vec![need.board.0, need.board.1])
}

fn simulate(study: &Study, trials: u32, threads: usize) -> MonteCarlo {
    let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap();
    pool.install(|| monte_carlo::evaluate(study, trials, 7, study.model.chain().need.accuracy, &|_| {}))
        .unwrap()
}

#[test]
fn the_same_numbers_on_one_two_and_three_threads() {
    for board in [kiln().built(), bench().built()] {
        let study = study(&board);
        // Not a whole number of blocks, on purpose.
        let trials = 5 * BLOCK + 123;
        let one = simulate(&study, trials, 1);
        assert_eq!(one.trials, trials);
        assert_eq!(one.points[0].histogram.iter().sum::<u32>(), trials);
        for threads in [2, 3] {
            assert_eq!(simulate(&study, trials, threads), one, "{threads} threads");
        }
        let pool = rayon::ThreadPoolBuilder::new().num_threads(1).build().unwrap();
        let other = pool.install(|| monte_carlo::evaluate(&study, trials, 8, 6.0, &|_| {})).unwrap();
        assert_ne!(other.points, one.points, "another seed");
    }
}

#[test]
fn progress_adds_up_to_the_trials() {
    let board = kiln().built();
    let told = std::sync::atomic::AtomicU32::new(0);
    let study = board.study(vec![500.0], vec![25.0]);
    let add = |n| {
        told.fetch_add(n, std::sync::atomic::Ordering::Relaxed);
    };
    monte_carlo::evaluate(&study, 1234, 1, 6.0, &add).unwrap();
    assert_eq!(told.into_inner(), 1234);
}

/// Standard deviations and means against GUM. The sampling error of a standard deviation is no more than 1/√(2n) for
/// anything flatter than a normal distribution, that of a mean 1/√n.
#[test]
fn simulation_agrees_with_gum_where_the_chain_is_near_linear() {
    const SIGMAS: f64 = 4.5; // 36 comparisons: one in 4000 would fail by chance
    const SECOND_ORDER: f64 = 3e-3; // products of deviations of a per cent; the bow of the emf over some kelvin
    let n = f64::from(TRIALS);
    for board in [kiln().built(), bench().built()] {
        let study = study(&board);
        let by_gum = gum::evaluate(&study).unwrap();
        let simulated = simulate(&study, TRIALS, 2);
        let mut worst = 0.0f64;
        for (i, (gum, mc)) in by_gum.iter().zip(&simulated.points).enumerate() {
            let (hot, at) = study.temperatures(i % study.points());
            let ratio = mc.standard / gum.standard - 1.0;
            let place =
                format!("{}: {hot} °C, board {at} °C, trim {}", board.chain().name, i / study.points());
            worst = worst.max(ratio.abs());
            assert!(
                ratio.abs() < SIGMAS / (2.0 * n).sqrt() + SECOND_ORDER,
                "{place}: {} K and {} K",
                mc.standard,
                gum.standard
            );
            let mean = mc.mean - (gum.reading - hot);
            assert!(
                mean.abs() < (SIGMAS / n.sqrt() + SECOND_ORDER) * gum.standard,
                "{place}: mean off by {mean} K"
            );
            // Everything is bounded or normal, so the 95 % interval is no wider than GUM's.
            let half = 0.5 * (mc.high - mc.low);
            assert!(
                half < 1.03 * gum.expanded() && half > 0.75 * gum.expanded(),
                "{place}: ±{half} K, ±{} K",
                gum.expanded()
            );
            assert!(mc.error_95 <= mc.low.abs().max(mc.high.abs()) + 1e-6, "{place}");
        }
        println!("{}: standard deviations agree within {:.2} %", board.chain().name, 100.0 * worst);
    }
}

#[test]
fn the_worst_case_is_worse_than_every_board_drawn() {
    const SINGLE_PRECISION: f64 = 1e-4; // errors are kept as f32
    for board in [kiln().built(), bench().built()] {
        // The ends of the range too: clipped outputs count.
        let need = board.chain().need;
        let study =
            board.study(vec![need.hot.0, 0.5 * need.hot.1, need.hot.1], vec![need.board.0, need.board.1]);
        let by_gum = gum::evaluate(&study).unwrap();
        let worst = worst_case::evaluate(&study, &by_gum).unwrap();
        let simulated = simulate(&study, TRIALS, 2);
        for (i, (worst, mc)) in worst.iter().zip(&simulated.points).enumerate() {
            let (hot, at) = study.temperatures(i % study.points());
            assert!(
                worst.low <= mc.range.0 + SINGLE_PRECISION && worst.high >= mc.range.1 - SINGLE_PRECISION,
                "{}: {hot} °C, board {at} °C, trim {}: worst {worst:?}, drawn {:?}",
                board.chain().name,
                i / study.points(),
                mc.range
            );
            assert!(worst.low < worst.high);
        }
    }
}

/// The worst case of a linear sum is the sum of the limits; the kiln without trim is near that.
#[test]
fn the_worst_case_is_near_the_sum_of_the_limits() {
    const PRODUCTS: f64 = 0.02;
    let board = kiln().built();
    let study = board.study(vec![900.0], vec![40.0]);
    let by_gum = gum::evaluate(&study).unwrap();
    let worst = worst_case::evaluate(&study, &by_gum).unwrap();
    let sum: f64 = (by_gum[0].contributions.iter().zip(&study.imperfections))
        .map(|(c, i)| {
            let (low, high) = i.distribution.limits();
            c.abs() * 0.5 * (high - low) / i.distribution.standard()
        })
        .sum();
    assert!(
        (worst[0].high / sum - 1.0).abs() < PRODUCTS && (worst[0].low / -sum - 1.0).abs() < PRODUCTS,
        "{:?}, {sum}",
        worst[0]
    );
}

/// Yields: none of a board that is asked too much, all of one that is asked less than its worst case, more with more
/// asked, and more boards good after two points than after none.
#[test]
fn yields_are_ordered() {
    let board = kiln().built();
    let study = study(&board);
    let worst = worst_case::evaluate(&study, &gum::evaluate(&study).unwrap()).unwrap();
    let largest = worst.iter().map(|w| w.high.max(-w.low)).fold(0.0, f64::max);
    let yields = |accuracy| monte_carlo::evaluate(&study, 4000, 3, accuracy, &|_| {}).unwrap().yields;
    assert_eq!(yields(largest * 1.001), [1.0; 3]);
    assert_eq!(yields(1e-4), [0.0; 3]);
    let mut before = [0.0; 3];
    for accuracy in [1.0, 2.0, 4.0, 6.0, 9.0] {
        let now = yields(accuracy);
        assert!(now.iter().zip(&before).all(|(n, b)| n >= b), "{before:?} then {now:?}");
        before = now;
    }
    let [none, _, both] = yields(6.0);
    assert!(both > none + 0.2, "{none} without trim, {both} after two points");
    // A board that is good everywhere is good at the worst point: no yield is more than the least share of one point.
    let mc = monte_carlo::evaluate(&study, 4000, 3, 6.0, &|_| {}).unwrap();
    for wish in CalibrationWish::ALL {
        let points = &mc.points[wish.points() * study.points()..(wish.points() + 1) * study.points()];
        if mc.yields[wish.points()] > 0.95 {
            assert!(points.iter().all(|p| p.error_95 <= 6.0), "{}", wish.name());
        }
    }
}
